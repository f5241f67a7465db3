"""The addresses of the project."""

from django.urls import URLPattern, URLResolver, path

from clinic.health import healthz

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
]

handler500 = "clinic.failures.server_error"
