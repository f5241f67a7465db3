"""Teach-backs, and help asked for to reach a patient, as the patient's history tells them."""

from collections.abc import Collection, Iterator, Mapping
from datetime import datetime

from clinic.teach_back_words import ESCALATION_ENDED, OUTCOME, understood_words
from education.models import Escalation, TeachBack, TeachBackPoint
from education.rules.escalation import EscalationEnded
from education.rules.teach_back import TeachBackOutcome
from patients.rules.languages import SOURCE_LANGUAGE

Told = tuple[datetime, str, str, str]


def told_of(records: Collection[int], titles: Mapping[int, str]) -> Iterator[Told]:
    """Yield what happened: when, what, in detail, and who."""
    held = TeachBack.objects.filter(patient__in=records)
    for row in held.select_related("by", "assignment").prefetch_related("points__question"):
        outcome = OUTCOME[TeachBackOutcome(row.outcome)]
        title = titles.get(row.assignment.module_id, "")
        more = ["the quiz may be taken once more"] if row.one_more_attempt else []
        points = [_point(one) for one in row.points.all()]
        detail = ". ".join([title, *more, *points])
        yield row.recorded_at, f"teach-back: {outcome}", detail, str(row.by)
    calls = Escalation.objects.filter(patient__in=records)
    for call in calls.select_related("by", "end__by"):
        detail = f"{call.messages} messages without an answer"
        yield call.recorded_at, "surgeon’s office asked to help", detail, str(call.by)
        if hasattr(call, "end"):
            because = ESCALATION_ENDED[EscalationEnded(call.end.because)]
            who = str(call.end.by) if call.end.by else "by the programme’s rule"
            yield call.end.recorded_at, "help of the surgeon’s office ended", because, who


def _point(point: TeachBackPoint) -> str:
    words = understood_words(point.understood)
    said = f", said “{point.said}”" if point.said else ""
    return f"“{point.question.stem[SOURCE_LANGUAGE]}”: {words}{said}"
