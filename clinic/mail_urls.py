"""The addresses of the programme's mail: what goes out, its rules and its words."""

from django.urls import path

from clinic.views import mail, mail_came_back
from clinic.views.mail_events import mail_events
from clinic.views.reminders import reminders

urlpatterns = [
    path("mail/", mail.mail, name="mail"),
    path("mail/hold/", mail.mail_held, name="mail-held"),
    path("mail/<int:pk>/decide/", mail.mail_decided, name="mail-decided"),
    path(
        "mail/addresses/<int:pk>/try-again/", mail_came_back.mail_try_again, name="mail-try-again"
    ),
    path("mail/patients/<int:pk>/by-phone/", mail_came_back.mail_by_phone, name="mail-by-phone"),
    path("mail/answers/<int:pk>/", mail_came_back.mail_answer, name="mail-answer"),
    path("mail/events/", mail_events, name="mail-events"),
    path("mail/reminders/", reminders, name="reminders"),
    path("mail/texts/", mail.mail_texts, name="mail-texts"),
    path("mail/texts/<slug:email>/<slug:language>/", mail.mail_text, name="mail-text"),
]
