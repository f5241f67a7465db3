"""A request that lost against another one in the database is made again (fault 21)."""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponseBase

from patients.conflicts import tried_again


class TryAgain:
    """The innermost middleware: it calls the view.

    A view is not always one transaction; what it had committed before is safe to do twice, by its
    form's key or by its own making (promise W3).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(
        self,
        request: HttpRequest,
        view: Callable[..., HttpResponseBase],
        args: tuple[Any, ...],
        kwargs: dict[str, Any],
    ) -> HttpResponseBase:
        """Call the view, at most three times."""

        called: list[bool] = []

        @tried_again
        def call() -> HttpResponseBase:
            # What the call before may have read. A first one says itself how much it reads at all.
            for name in request.FILES if called else ():
                for upload in request.FILES.getlist(name):
                    upload.seek(0)
            called.append(True)
            return view(request, *args, **kwargs)

        return call()
