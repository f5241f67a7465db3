"""The addresses of the project."""

from django.urls import URLPattern, URLResolver, include, path

from clinic.health import healthz, metrics, readyz
from clinic.views.all_pages import all_pages
from clinic.views.calendar import calendar, calendar_feed, calendar_revoke
from clinic.views.kiosk import kiosk
from clinic.views.look_again import look_again
from clinic.views.mail_tray import mail_tray, mail_tray_message
from clinic.views.modules import module, modules, sign_edition
from clinic.views.operation_acts import operation_confirm, operation_confirm_against_hold
from clinic.views.operation_plan import operation_booking, operation_move
from clinic.views.operations import operation, operations
from clinic.views.own_page import own_page
from clinic.views.programme import programme_settings
from clinic.views.rehearsal import rehearsal
from clinic.views.requirements import requirement, requirements
from clinic.views.schedule_import import schedule_import, schedule_preview, schedule_rejected
from clinic.views.schedule_reading import schedule_columns, schedule_words
from clinic.views.sign_in import home, password, sign_in, sign_out
from clinic.views.staff import staff, staff_active, staff_member
from clinic.views.trail import trail

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
    path("readyz", readyz, name="readyz"),
    path("metrics", metrics, name="metrics"),
    path("", home, name="home"),
    path("sign-in/", sign_in, name="sign-in"),
    path("sign-out/", sign_out, name="sign-out"),
    path("password/", password, name="password"),
    path("me/", own_page, name="own-page"),
    path("pages/", all_pages, name="all-pages"),
    path("operations/", operations, name="operations"),
    path("operations/<int:operation_id>/", operation, name="operation"),
    path("operations/<int:operation_id>/confirm/", operation_confirm, name="operation-confirm"),
    path(
        "operations/<int:operation_id>/confirm-against-hold/",
        operation_confirm_against_hold,
        name="operation-confirm-against-hold",
    ),
    path("operations/<int:operation_id>/booking/", operation_booking, name="operation-booking"),
    path("operations/<int:operation_id>/move/", operation_move, name="operation-move"),
    path("calendar/", calendar, name="calendar"),
    path("calendar/end/", calendar_revoke, name="calendar-revoke"),
    path("calendar/<slug:feed_token>.ics", calendar_feed, name="calendar-feed"),
    path("look-again/", look_again, name="look-again"),
    path("staff/", staff, name="staff"),
    path("staff/<int:staff_id>/", staff_member, name="staff-member"),
    path("staff/<int:staff_id>/active/", staff_active, name="staff-active"),
    path("programme/", programme_settings, name="programme"),
    path("matching/try/", rehearsal, name="rehearsal"),
    path("requirements/", requirements, name="requirements"),
    path(
        "requirements/<int:procedure_id>/<int:module_id>/",
        requirement,
        name="requirement",
    ),
    path("modules/", modules, name="modules"),
    path("modules/<slug:code>/", module, name="module"),
    path("modules/<slug:code>/editions/<int:number>/sign/", sign_edition, name="sign-edition"),
    path("trail/", trail, name="trail"),
    path("", include("clinic.dietitian_urls")),
    path("", include("clinic.register_urls")),
    path("", include("clinic.intake_urls")),
    path("", include("clinic.eating_urls")),
    path("", include("clinic.measure_urls")),
    path("", include("clinic.writing_urls")),
    path("", include("clinic.asking_urls")),
    path("", include("clinic.mail_urls")),
    path("", include("clinic.running_urls")),
    path("", include("clinic.quiz_urls")),
    path("q/", include("education.urls")),
    path("kiosk/", kiosk, name="kiosk"),
    path("schedule/import/", schedule_import, name="schedule-import"),
    path("schedule/import/<int:upload_id>/", schedule_preview, name="schedule-preview"),
    path(
        "schedule/import/<int:upload_id>/rejected.csv", schedule_rejected, name="schedule-rejected"
    ),
    path("schedule/import/<int:upload_id>/columns/", schedule_columns, name="schedule-columns"),
    path("schedule/import/<int:upload_id>/words/", schedule_words, name="schedule-words"),
    path("mail-tray/", mail_tray, name="mail-tray"),
    path("mail-tray/<slug:name>/", mail_tray_message, name="mail-tray-message"),
]

handler404 = "clinic.failures.page_not_found"
handler500 = "clinic.failures.server_error"
