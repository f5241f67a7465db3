"""The addresses of the dietitian's pages: the list, the patients, the submissions, the acts."""

from django.urls import path

from clinic.evidence.files import ENDING
from clinic.views import acts, call_sheet, second_clinician, several
from clinic.views.clearance_record import clearance_record
from clinic.views.correct_contact import correct_contact
from clinic.views.morning import morning
from clinic.views.patient import patient_page
from clinic.views.submission_acts import decide_identity, note_submission, undo_identity
from clinic.views.submissions import submission, submissions

urlpatterns = [
    path("morning/", morning, name="morning"),
    path("morning/send/", several.invite_several, name="invite-several"),
    path("morning/sent/<int:stamp>/", several.invited_several, name="invited-several"),
    path(
        "morning/sent/<int:stamp>/take-back/",
        several.take_back_invitations,
        name="take-back-invitations",
    ),
    path("patients/<int:pk>/", patient_page, name="patient"),
    *(
        path(
            f"patients/<int:pk>/clearance-record.{ending}",
            clearance_record,
            {"form": form},
            name=f"clearance-record-{form}",
        )
        for form, ending in ENDING.items()
    ),
    path("patients/<int:pk>/contacts/", acts.contact, name="log-contact"),
    path("contacts/<int:pk>/correct/", correct_contact, name="correct-contact"),
    path("patients/<int:pk>/correct/", acts.correct_patient, name="correct-patient"),
    path(
        "patients/<int:pk>/call-sheet/<int:assignment>/", call_sheet.call_sheet, name="call-sheet"
    ),
    path("assignments/<int:pk>/invite/", acts.send_link, name="invite"),
    path("assignments/<int:pk>/teach-back/", call_sheet.teach_back, name="teach-back"),
    path("assignments/<int:pk>/sign-off/", acts.sign_off, name="sign-off"),
    path("assignments/<int:pk>/waive/", acts.waive, name="waive"),
    path(
        "assignments/<int:pk>/second-clinician/",
        second_clinician.second_opinion,
        name="second-opinion",
    ),
    path("sign-offs/<int:pk>/revoke/", second_clinician.revoke_sign_off, name="revoke-sign-off"),
    path("waivers/<int:pk>/revoke/", acts.revoke_waiver, name="revoke-waiver"),
    path("clearances/<int:pk>/revoke/", acts.revoke_clearance, name="revoke-clearance"),
    path("submissions/", submissions, name="submissions"),
    path("submissions/<int:pk>/", submission, name="submission"),
    path("submissions/<int:pk>/decide/", decide_identity, name="decide-identity"),
    path("submissions/<int:pk>/undo/", undo_identity, name="undo-identity"),
    path("submissions/<int:pk>/note/", note_submission, name="note-submission"),
]
