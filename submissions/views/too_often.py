"""Says calmly that something was asked for too often, on whatever page it happened."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from portal.limits import TooOften


class TooOftenMiddleware:
    """Answers TooOften with 429, how long to wait, and a page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, TooOften):
            return None
        response = render(request, "429.html", {"wait_s": error.retry_s}, status=429)
        response["Retry-After"] = str(error.retry_s)
        return response
