"""The addresses of the eating plan: the programme's stages, and a patient's plan."""

from django.urls import path

from clinic.views import eating_stages

urlpatterns = [
    path("eating-stages/", eating_stages.eating_stages, name="eating-stages"),
    path("eating-stages/start/", eating_stages.eating_stages_found, name="eating-stages-found"),
    path("eating-stages/sign/", eating_stages.eating_stages_sign, name="eating-stages-sign"),
    path("eating-stages/days/", eating_stages.eating_stage_days, name="eating-stage-days"),
    path("eating-stages/say/<slug:key>/", eating_stages.eating_stage, name="eating-stage"),
]
