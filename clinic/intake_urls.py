"""The addresses of the intake: schedule messages that wait for a person."""

from django.urls import path

from clinic.views import fhir_intake, intake, intake_words

urlpatterns = [
    path("intake/", intake.intake, name="intake"),
    path("intake/fhir", fhir_intake.fhir_intake, name="fhir-intake"),
    path("intake/tokens/", fhir_intake.intake_tokens, name="intake-tokens"),
    path(
        "intake/tokens/<int:token_id>/revoke/",
        fhir_intake.revoke_intake_token,
        name="revoke-intake-token",
    ),
    path("intake/words/", intake_words.intake_words, name="intake-words"),
    path(
        "intake/words/<int:reading_id>/forget/",
        intake_words.intake_word_forget,
        name="intake-word-forget",
    ),
    path("intake/<int:message_id>/", intake.intake_message, name="intake-message"),
    path("intake/<int:message_id>/apply/", intake.intake_apply, name="intake-apply"),
    path("intake/<int:message_id>/set-aside/", intake.intake_set_aside, name="intake-set-aside"),
    path("intake/<int:message_id>/take-up/", intake.intake_take_up, name="intake-take-up"),
]
