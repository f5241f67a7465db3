"""What a patient saw under "people often ask", then and now. No database."""

from datetime import UTC, datetime

from education.rules.often_asked import Row, Shown, shown_at, spans

DAY = {n: datetime(2027, 3, n, 12, tzinfo=UTC) for n in range(1, 9)}
ROWS = [
    Row(1, {"en": "May I swim?"}, {"en": "Yes."}, True, DAY[1]),
    Row(1, {"en": "May I swim?"}, {"en": "After six weeks."}, True, DAY[3]),
    Row(1, {"en": "May I swim?"}, {"en": "After six weeks."}, False, DAY[5]),
    Row(2, {"en": "Tea?", "es": "¿Té?"}, {"en": "Yes.", "es": "Sí."}, True, DAY[4]),
    Row(3, {"en": "Half", "es": "Medio"}, {"en": "done", "es": " "}, True, DAY[4]),
]
TEA, HALF = Shown(2, "Tea?", "Yes."), Shown(3, "Half", "done")


def test_what_was_shown_on_a_day_is_told_from_the_rows() -> None:
    def seen(day: int, language: str = "en") -> tuple[Shown, ...]:
        return shown_at(reversed(ROWS), language=language, at=DAY[day])

    assert seen(1) == seen(2) == (Shown(1, "May I swim?", "Yes."),)
    assert seen(3) == (Shown(1, "May I swim?", "After six weeks."),)
    assert seen(4) == (Shown(1, "May I swim?", "After six weeks."), TEA, HALF)
    assert seen(5) == seen(8) == (TEA, HALF)  # archived, and still on record
    # Only what is whole in a language is shown in it.
    assert seen(8, "es") == (Shown(2, "¿Té?", "Sí."),)
    assert seen(8, "fr") == ()


def test_each_wording_has_a_from_and_a_to() -> None:
    found = spans(row for row in ROWS if row.entry == 1)
    assert [(s.row.since, s.until) for s in found] == [
        (DAY[1], DAY[3]),
        (DAY[3], DAY[5]),
        (DAY[5], None),
    ]
