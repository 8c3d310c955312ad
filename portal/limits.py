"""How often somebody may do something: counted in the cache, per window of time."""

import hashlib
import time

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest


class TooOften(Exception):
    """Said too often; retry_s is when the window is over."""

    def __init__(self, retry_s: int) -> None:
        super().__init__(f"too often; again in {retry_s} s")
        self.retry_s = retry_s


def _key(kind: str, who: str) -> tuple[str, int, int]:
    limit, window = settings.RATE_LIMITS[kind]
    now = int(time.time())
    # Hashed, so that neither a mail address nor an IP address stands readable in the cache.
    digest = hashlib.sha256(f"{settings.SECRET_KEY}:{who}".encode()).hexdigest()[:32]
    return f"limit:{kind}:{digest}:{now // window}", limit, window - now % window


def count(kind: str, who: str) -> None:
    """Count one; raises TooOften when more than the limit was counted in this window."""
    key, limit, left = _key(kind, who)
    cache.add(key, 0, timeout=left + 1)
    try:
        number = cache.incr(key)
    except ValueError:  # the window ended between the two lines
        return
    if number > limit:
        raise TooOften(left)


def look(kind: str, who: str) -> None:
    """Raises TooOften when the limit is used up, without counting."""
    key, limit, left = _key(kind, who)
    if (cache.get(key) or 0) >= limit:
        raise TooOften(left)


def address_of(request: HttpRequest) -> str:
    """The address a request comes from. Forwarded addresses count only behind as many proxies as the settings say."""
    proxies = settings.AXES_IPWARE_PROXY_COUNT
    hops = [hop.strip() for hop in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if hop.strip()]
    if proxies and len(hops) >= proxies:
        return hops[-proxies]
    return request.META.get("REMOTE_ADDR", "")
