"""Response headers that every page carries."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse


def content_security_policy(storage: str) -> str:
    """No inline script, nothing from another host but the store; blob: is for a take the browser itself recorded."""
    rules = (
        f"default-src 'self' {storage}",
        f"img-src 'self' data: blob: {storage}",
        f"media-src 'self' blob: {storage}",
        "style-src 'self' 'unsafe-inline'",
        "script-src 'self'",
        "worker-src 'self' blob:",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
    return "; ".join(rule.strip() for rule in rules)


class SecurityHeadersMiddleware:
    """Adds the content security policy and asks for camera and microphone only for our own pages."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.policy = content_security_policy(settings.STORAGE_ORIGIN)

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", self.policy)
        response.headers.setdefault("Permissions-Policy", "camera=(self), microphone=(self), geolocation=()")
        return response
