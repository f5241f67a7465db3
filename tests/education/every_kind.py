"""A module with a question of every kind, in two languages and, where marked, two versions."""

EVERY_KIND = """
code = "every-kind"
pass_mark = 50
title = {en = "Every kind", es = "Todas las clases"}

[[section]]
key = "how"
heading = {en = "How to drink", es = "Cómo beber"}
body = {en = "Take small sips.", es = "Tome sorbos pequeños."}
ask_yourself = {en = "When do I drink?", es = "¿Cuándo bebo?"}

[[question]]
key = "one"
kind = "one"
safety_critical = true
section = "how"
shuffle = true
stem = {en = "How do you drink?", es = "¿Cómo bebe?"}
explanation = {en = "In sips.", es = "A sorbos."}
[[question.option]]
key = "sips"
text = {en = "In sips", es = "A sorbos"}
right = true
[[question.option]]
key = "gulps"
text = {en = "In gulps", es = "A tragos"}
right = false
[[question.option]]
key = "never"
text = {en = "Not at all", es = "No bebo"}
right = false
[[question.version]]
stem = {en = "How big is a sip?", es = "¿De qué tamaño es un sorbo?"}
[[question.version.option]]
key = "small"
text = {en = "Small", es = "Pequeño"}
right = true
[[question.version.option]]
key = "big"
text = {en = "Big", es = "Grande"}
right = false

[[question]]
key = "several"
kind = "several"
safety_critical = false
section = "how"
stem = {en = "Which are liquids?", es = "¿Cuáles son líquidos?"}
explanation = {en = "Water and broth.", es = "El agua y el caldo."}
[[question.option]]
key = "water"
text = {en = "Water", es = "Agua"}
right = true
[[question.option]]
key = "broth"
text = {en = "Broth", es = "Caldo"}
right = true
[[question.option]]
key = "bread"
text = {en = "Bread", es = "Pan"}
right = false

[[question]]
key = "true-false"
kind = "true_false"
safety_critical = false
section = "how"
stem = {en = "Fast is good.", es = "Rápido es bueno."}
explanation = {en = "Slow is good.", es = "Lento es bueno."}
[[question.option]]
key = "true"
text = {en = "True", es = "Verdadero"}
right = false
[[question.option]]
key = "false"
text = {en = "False", es = "Falso"}
right = true

[[question]]
key = "number"
kind = "number"
safety_critical = false
section = "how"
stem = {en = "How much in a day?", es = "¿Cuánto en un día?"}
explanation = {en = "64.", es = "64."}
unit = {en = "US fl oz", es = "onzas líquidas (US fl oz)"}
answer = "64"
tolerance = "2"

[[question]]
key = "order"
kind = "order"
safety_critical = false
section = "how"
stem = {en = "What comes first?", es = "¿Qué va primero?"}
explanation = {en = "Sit, sip, wait.", es = "Siéntese, beba, espere."}
[[question.item]]
key = "wait"
place = 3
text = {en = "Wait", es = "Espere"}
[[question.item]]
key = "sit"
place = 1
text = {en = "Sit", es = "Siéntese"}
[[question.item]]
key = "sip"
place = 2
text = {en = "Sip", es = "Beba"}

[[question]]
key = "match"
kind = "match"
safety_critical = true
section = "how"
stem = {en = "What goes with what?", es = "¿Qué va con qué?"}
explanation = {en = "Water is for all day.", es = "El agua es para todo el día."}
[[question.pair]]
key = "water"
text = {en = "Water", es = "Agua"}
match = {en = "All day", es = "Todo el día"}
[[question.pair]]
key = "broth"
text = {en = "Broth", es = "Caldo"}
match = {en = "At noon", es = "Al mediodía"}
[[question.pair]]
key = "milk"
text = {en = "Milk", es = "Leche"}
match = {en = "At night", es = "De noche"}
[[question.version]]
stem = {en = "Find the pairs.", es = "Busque las parejas."}
[[question.version.pair]]
key = "tea"
text = {en = "Tea", es = "Té"}
match = {en = "In the morning", es = "Por la mañana"}
[[question.version.pair]]
key = "soup"
text = {en = "Soup", es = "Sopa"}
match = {en = "At noon", es = "Al mediodía"}
[[question.version.pair]]
key = "shake"
text = {en = "Shake", es = "Batido"}
match = {en = "At night", es = "De noche"}
"""
KINDS = ("one", "several", "true-false", "number", "order", "match")
