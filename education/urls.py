"""The addresses behind a personal link; all of them begin with /q/."""

from django.urls import path, re_path

from education.views.answer import answer_page
from education.views.ask import ask_us, asked
from education.views.check import check
from education.views.language import language
from education.views.opening import not_found
from education.views.plan import plan, plan_done
from education.views.plan_calendar import (
    plan_calendar,
    plan_feed,
    plan_feed_end,
    plan_feed_make,
)
from education.views.plan_meals import plan_meals
from education.views.question import question
from education.views.renew import renew_link
from education.views.result import result
from education.views.shared_screen import screen_idle, screen_over
from education.views.start import start
from education.views.you import you

urlpatterns = [
    path("<str:token>/", start, name="quiz-start"),
    path("<str:token>/<int:number>/", question, name="quiz-question"),
    path("<str:token>/you/", you, name="quiz-you"),
    path("<str:token>/check/", check, name="quiz-check"),
    path("<str:token>/result/", result, name="quiz-result"),
    path("<str:token>/ask/", ask_us, name="quiz-ask"),
    path("<str:token>/ask/sent/", asked, name="quiz-asked"),
    path("<str:token>/renew/", renew_link, name="quiz-renew"),
    path("<str:token>/language/", language, name="quiz-language"),
    path("<str:answer_token>/answer/", answer_page, name="answer"),
    path("<str:token>/idle/", screen_idle, name="screen-idle"),
    path("<str:token>/over/", screen_over, name="screen-over"),
    path("<str:plan_token>/plan/", plan, name="plan"),
    path("<str:plan_token>/plan/done/", plan_done, name="plan-done"),
    path("<str:plan_token>/plan/meals/", plan_meals, name="plan-meals"),
    path("<str:plan_token>/plan/feed/", plan_feed_make, name="plan-feed-make"),
    path("<str:plan_token>/plan/feed/end/", plan_feed_end, name="plan-feed-end"),
    path("<str:plan_token>/plan.ics", plan_calendar, name="plan-calendar"),
    path("<str:plan_feed_token>/days.ics", plan_feed, name="plan-feed"),
    # Without a slash at its end an address is first sent on to the one with it.
    re_path(r"^(?:.*/)?$", not_found),
]
