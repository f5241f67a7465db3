"""Is this process able to serve?"""

from django.db import DatabaseError, InterfaceError, connection
from django.http import HttpRequest, HttpResponse

from patients.open_to import ANYONE, open_to


@open_to(ANYONE)
def healthz(request: HttpRequest) -> HttpResponse:
    """200 when the database answers, else 503. Open to everyone; says nothing else."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except (DatabaseError, InterfaceError):
        return HttpResponse("database unreachable\n", status=503, content_type="text/plain")
    return HttpResponse("ok\n", content_type="text/plain")
