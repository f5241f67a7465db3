"""The addresses of the programme's mail: what goes out, its rules and its words."""

from django.urls import path

from clinic.views import mail
from clinic.views.reminders import reminders

urlpatterns = [
    path("mail/", mail.mail, name="mail"),
    path("mail/hold/", mail.mail_held, name="mail-held"),
    path("mail/<int:pk>/decide/", mail.mail_decided, name="mail-decided"),
    path("mail/reminders/", reminders, name="reminders"),
    path("mail/texts/", mail.mail_texts, name="mail-texts"),
    path("mail/texts/<slug:email>/<slug:language>/", mail.mail_text, name="mail-text"),
]
