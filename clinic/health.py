"""Does this process live, can the programme do its work, and how much has it done?

No answer says anything about a patient.
"""

import hmac

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4

from clinic.metrics import as_text
from clinic.readiness import readiness
from patients.clock import now
from patients.open_to import ANYONE, TOKEN_HOLDER, open_to


@open_to(ANYONE)
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """200 as long as this process takes requests; no back end is asked.

    For a load balancer: with the database down each web server shows a plain page that names the
    programme's phone number, which is better than the balancer's own.
    """
    return HttpResponse("ok\n", content_type="text/plain")


@open_to(ANYONE)
@require_safe
def readyz(request: HttpRequest) -> HttpResponse:
    """200 when every check passes, else 503; a line for each, its name and its reason."""
    checks = readiness(at=now())
    lines = [f"{c.name}: {'ok' if c.passed else 'FAILED'}, {c.reason}\n" for c in checks]
    status = 200 if all(check.passed for check in checks) else 503
    return HttpResponse("".join(lines), status=status, content_type="text/plain")


@open_to(TOKEN_HOLDER)
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Figures in Prometheus's text format, for whoever sends METRICS_TOKEN as a bearer token."""
    given = request.headers.get("Authorization", "")
    wanted = f"Bearer {settings.METRICS_TOKEN}"
    if not settings.METRICS_TOKEN or not hmac.compare_digest(given.encode(), wanted.encode()):
        return HttpResponse(status=401, headers={"WWW-Authenticate": "Bearer"})
    return HttpResponse(as_text(at=now()), content_type=CONTENT_TYPE_PLAIN_0_0_4)
