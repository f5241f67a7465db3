"""The addresses for operators."""

from django.urls import path

from clinic.views.running import running, running_parked

urlpatterns = [
    path("running/", running, name="running"),
    path("running/<slug:parked_kind>/<int:pk>/", running_parked, name="running-parked"),
]
