"""The addresses of the eating plan: the programme's stages, and a patient's plan."""

from django.urls import path

from clinic.views import eating_plan, eating_stages, eating_today

urlpatterns = [
    path("eating-plans/", eating_today.eating_today, name="eating-today"),
    path("eating-plans/label/", eating_today.label_check, name="label-check"),
    path("eating-stages/", eating_stages.eating_stages, name="eating-stages"),
    path("eating-stages/start/", eating_stages.eating_stages_found, name="eating-stages-found"),
    path("eating-stages/sign/", eating_stages.eating_stages_sign, name="eating-stages-sign"),
    path("eating-stages/days/", eating_stages.eating_stage_days, name="eating-stage-days"),
    path("eating-stages/say/<slug:key>/", eating_stages.eating_stage, name="eating-stage"),
    path("patients/<int:pk>/eating-plan/", eating_plan.eating_plan, name="eating-plan"),
    path("patients/<int:pk>/eating-plan/facts/", eating_plan.eating_facts, name="eating-facts"),
    path(
        "patients/<int:pk>/eating-plan/choices/", eating_plan.eating_choices, name="eating-choices"
    ),
    path(
        "patients/<int:pk>/eating-plan/number/",
        eating_plan.eating_set_aside,
        name="eating-set-aside",
    ),
    path(
        "patients/<int:pk>/eating-plan/discussed/",
        eating_plan.eating_discussed,
        name="eating-discussed",
    ),
    path("patients/<int:pk>/eating-plan/send/", eating_plan.eating_send, name="eating-send"),
    path("patients/<int:pk>/eating-plan/told/", eating_plan.eating_told, name="eating-told"),
    path("patients/<int:pk>/eating-plan/given/", eating_plan.eating_give, name="eating-give"),
    *(
        path(
            f"patients/<int:pk>/eating-plan-<slug:language>.{form}",
            eating_plan.eating_plan_file,
            {"form": form},
            name=f"eating-plan-{form}",
        )
        for form in ("pdf", "ics")
    ),
]
