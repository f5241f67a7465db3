"""Give out a picture, a video or captions of the teaching.

No patient's facts are in them, and no session is asked for: whoever knows the name may have the
file. The name is the hash of its content, so that a page that may be seen is the way to learn it,
and what was fetched once never has to be fetched again.
"""

import re
from collections.abc import Iterator

from django.core.files.base import File
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from education.rules.byte_range import NoSuchPart, asked_part
from education.teaching_files import content_type, open_file
from patients.open_to import ANYONE, open_to

# A part that is answered at once: a phone on a slow line must not hold a thread for a whole video.
LARGEST_PART = 1024 * 1024  # bytes
_PIECE = 64 * 1024
_A_YEAR = 365 * 24 * 60 * 60  # seconds
_ETAG = re.compile(r'(?:W/)?"([^"]*)"')


@open_to(ANYONE)
@require_safe
def teaching_file(request: HttpRequest, name: str) -> HttpResponseBase:
    """Answer with the whole file, a part of it, or that there is none."""
    file = open_file(name)
    if file is None:
        return render(request, "404.html", status=404)
    size = file.size
    if name in _ETAG.findall(request.headers.get("If-None-Match", "")):
        file.close()
        return _described(HttpResponse(status=304), name)
    wanted = request.headers.get("Range", "")
    if request.headers.get("If-Range", f'"{name}"') != f'"{name}"':
        wanted = ""
    try:
        part = asked_part(wanted, size, most=LARGEST_PART)
    except NoSuchPart:
        file.close()
        refused = HttpResponse(status=416)
        refused["Content-Range"] = f"bytes */{size}"
        return _described(refused, name)
    if part is None:
        whole = StreamingHttpResponse(_pieces(file))
        whole["Content-Length"] = str(size)
        return _described(whole, name)
    with file:
        file.seek(part.first)
        answer = HttpResponse(file.read(part.length), status=206)
    answer["Content-Range"] = f"bytes {part.first}-{part.last}/{size}"
    answer["Content-Length"] = str(part.length)
    return _described(answer, name)


def _pieces(file: "File[bytes]") -> Iterator[bytes]:
    with file:
        yield from file.chunks(_PIECE)


def _described(response: HttpResponseBase, name: str) -> HttpResponseBase:
    response["Content-Type"] = content_type(name)
    response["Accept-Ranges"] = "bytes"
    response["ETag"] = f'"{name}"'
    response["Content-Disposition"] = "inline"
    response["Cache-Control"] = f"public, max-age={_A_YEAR}, immutable"
    response.same_for_everyone = True  # type: ignore[attr-defined]  # read by clinic.middleware
    return response
