"""The addresses of the project."""

from django.urls import URLPattern, URLResolver, include, path

from clinic.health import healthz
from clinic.views.mail_tray import mail_tray, mail_tray_message
from clinic.views.schedule_import import schedule_import, schedule_preview, schedule_rejected

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
    path("q/", include("education.urls")),
    path("schedule/import/", schedule_import, name="schedule-import"),
    path("schedule/import/<int:upload_id>/", schedule_preview, name="schedule-preview"),
    path(
        "schedule/import/<int:upload_id>/rejected.csv", schedule_rejected, name="schedule-rejected"
    ),
    path("mail-tray/", mail_tray, name="mail-tray"),
    path("mail-tray/<slug:name>/", mail_tray_message, name="mail-tray-message"),
]

handler500 = "clinic.failures.server_error"
