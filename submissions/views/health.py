"""Does everything answer that the portal stands on?"""

import logging
import secrets

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from redis import Redis

log = logging.getLogger(__name__)
WAIT_S = 2  # an answer that takes longer is none


@never_cache
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """200 when database, broker and storage answer; 503 and which one when not."""
    answers = {name: _answers(name, ask) for name, ask in CHECKS.items()}
    return JsonResponse(answers, status=200 if set(answers.values()) == {"ok"} else 503)


def _answers(name: str, ask) -> str:
    try:
        ask()
    except Exception as error:  # whatever goes wrong there, the page must still say which one it was
        log.warning("health: %s does not answer: %s", name, error)
        return "no answer"
    return "ok"


def _database() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()


def _broker() -> None:
    with Redis.from_url(settings.CELERY_BROKER_URL, socket_timeout=WAIT_S, socket_connect_timeout=WAIT_S) as broker:
        broker.ping()


def _storage() -> None:
    name = default_storage.save(f"health/{secrets.token_hex(8)}", ContentFile(b"ok"))
    try:
        with default_storage.open(name) as file:
            if file.read() != b"ok":
                raise OSError("storage gave back something else")
    finally:
        default_storage.delete(name)


CHECKS = {"database": _database, "broker": _broker, "storage": _storage}
