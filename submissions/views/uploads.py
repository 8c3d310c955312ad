"""Resumable uploads: tus 1.0.0 (https://tus.io/protocols/resumable-upload, read November 2026), our own server of it.

Extensions: creation, creation-with-upload, creation-defer-length, checksum, expiration, termination.

No CSRF token is asked for: every request must carry Tus-Resumable, a header that a page of another site cannot send
without being allowed to first (CORS preflight), and nothing here allows it; session cookies are SameSite=Lax besides.
"""

import base64
import binascii
import hashlib
from collections.abc import Callable
from email.utils import format_datetime

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.http.request import UnreadablePostError
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt

from portal import limits

from .. import access, actions
from ..models import PartRow, Upload
from ..sentences import in_words

VERSION = "1.0.0"
EXTENSIONS = "creation,creation-with-upload,creation-defer-length,checksum,expiration,termination"
ALGORITHMS = ("sha1", "sha256", "md5")
CHECKSUM_MISMATCH = 460  # the protocol's own status
STATUS = {"offset": 409, "busy": 423, "too-big": 413, "checksum": CHECKSUM_MISMATCH, "quota": 403, "late": 403}
PIECE = "application/offset+octet-stream"


class Answer(Exception):
    """A refusal with its status, raised from wherever it is found out."""

    def __init__(self, status: int, says: str = "") -> None:
        super().__init__(says)
        self.status, self.says = status, says


def _tus(**handlers: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view of the protocol: method override, version check, and one handler a method."""

    @csrf_exempt
    def view(request: HttpRequest, **where) -> HttpResponse:
        method = request.headers.get("X-HTTP-Method-Override", request.method or "").upper()
        try:
            if method == "OPTIONS":
                response = _options()
            elif method not in handlers:
                response = HttpResponse(status=405, headers={"Allow": ", ".join([*handlers, "OPTIONS"])})
            elif request.headers.get("Tus-Resumable") != VERSION:
                response = HttpResponse("This server speaks tus 1.0.0.", status=412, headers={"Tus-Version": VERSION})
            else:
                response = handlers[method](request, **where)
        except Answer as answer:
            response = HttpResponse(
                in_words(answer.says), status=answer.status, content_type="text/plain; charset=utf-8"
            )
        except actions.Refused as refused:
            status = STATUS.get(refused.code, 400)
            response = HttpResponse(in_words(str(refused)), status=status, content_type="text/plain; charset=utf-8")
        except limits.TooOften as often:
            response = HttpResponse(
                in_words("Too many uploads."), status=429, headers={"Retry-After": str(often.retry_s)}
            )
        response.headers["Tus-Resumable"] = VERSION
        response.headers.setdefault("Cache-Control", "no-store")
        return response

    return view


def _options() -> HttpResponse:
    return HttpResponse(
        status=204,
        headers={
            "Tus-Version": VERSION,
            "Tus-Extension": EXTENSIONS,
            "Tus-Max-Size": str(settings.UPLOAD_MAX_BYTES),
            "Tus-Checksum-Algorithm": ",".join(ALGORITHMS),
        },
    )


def _create(request: HttpRequest) -> HttpResponse:
    told = _metadata(request.headers.get("Upload-Metadata", ""))
    entry = access.my_entry(request, told.get("entry", ""))
    limits.count("upload", entry.public_id)
    part = get_object_or_404(PartRow, pk=_number(told.get("part", "")), segment__call=entry.call_id)
    upload = actions.begin_upload(
        entry,
        part,
        length=_length(request),
        filename=told.get("filename", ""),
        is_tryout=told.get("tryout") == "1",
        sha256=told.get("sha256", ""),
    )
    response = HttpResponse(status=201)
    if request.content_type == PIECE:
        response = _receive(request, upload, 0, status=201)
    response.headers["Location"] = reverse("upload", args=[upload.public_id])
    response.headers["Upload-Expires"] = format_datetime(upload.expires_at, usegmt=True)
    return response


def _metadata(header: str) -> dict[str, str]:
    """The pairs of Upload-Metadata: key, space, base64; commas between; keys are unique."""
    told: dict[str, str] = {}
    for pair in filter(None, (pair.strip() for pair in header.split(","))):
        key, _, value = pair.partition(" ")
        try:
            text = base64.b64decode(value.strip(), validate=True).decode()
        except (binascii.Error, UnicodeDecodeError):
            raise Answer(400, f"Upload-Metadata: the value of {key!r} cannot be read.") from None
        if key in told:
            raise Answer(400, f"Upload-Metadata: {key!r} stands twice.")
        told[key] = text
    return told


def _length(request: HttpRequest) -> int | None:
    """The promised length; None when it comes later."""
    deferred = request.headers.get("Upload-Defer-Length")
    if deferred is not None:
        if deferred != "1" or "Upload-Length" in request.headers:
            raise Answer(400, "Upload-Defer-Length can only be 1, and only without Upload-Length.")
        return None
    return _number(request.headers.get("Upload-Length", ""))


def _number(text: str) -> int:
    # isdecimal alone lets digits of other scripts through; twenty digits are more than any file has bytes.
    if not (text.isascii() and text.isdecimal() and len(text) < 20):
        raise Answer(400, f"{text!r} is not a whole number.")
    return int(text)


def _mine(request: HttpRequest, public_id: str) -> Upload:
    upload = access.my_upload(request, public_id)
    if upload.ended_at is None and upload.expires_at < timezone.now():
        raise Answer(410, "This upload was not finished in time; please begin again.")
    return upload


def _head(request: HttpRequest, public_id: str) -> HttpResponse:
    upload = _mine(request, public_id)
    response = HttpResponse(status=200, headers={"Upload-Offset": str(actions.bytes_here(upload))})
    if upload.length is None:
        response.headers["Upload-Defer-Length"] = "1"
    else:
        response.headers["Upload-Length"] = str(upload.length)
    return _with_take(response, upload)


def _patch(request: HttpRequest, public_id: str) -> HttpResponse:
    upload = _mine(request, public_id)
    if request.content_type != PIECE:
        raise Answer(415, f"The content type of a piece is {PIECE}.")
    offset = _number(request.headers.get("Upload-Offset", ""))
    if upload.ended_at is not None:
        if offset != upload.offset:
            raise Answer(409, f"The upload is complete at {upload.offset}.")
        return _with_take(HttpResponse(status=204, headers={"Upload-Offset": str(upload.offset)}), upload)
    if "Upload-Length" in request.headers:
        actions.set_length(upload, _number(request.headers["Upload-Length"]))
    return _receive(request, upload, offset, status=204)


def _receive(request: HttpRequest, upload: Upload, offset: int, status: int) -> HttpResponse:
    checksum = _checksum(request.headers.get("Upload-Checksum"))
    try:
        offset = actions.receive_bytes(upload, offset, _reader(request), checksum)
    except (UnreadablePostError, OSError):
        # The line went dead. What had arrived is kept; nobody is left to read this answer.
        offset = actions.bytes_here(upload)
    response = HttpResponse(status=status, headers={"Upload-Offset": str(offset)})
    response.headers["Upload-Expires"] = format_datetime(upload.expires_at, usegmt=True)
    return _with_take(response, upload)


def _with_take(response: HttpResponse, upload: Upload) -> HttpResponse:
    """Finish an upload whose last byte is here (also one that a crash left so), and name the take it became."""
    try:
        take = actions.finish_upload(upload)
    except actions.Refused as refused:
        if refused.code != "busy":
            raise
        take = None  # another connection is just finishing it
    if take is not None:
        response.headers["Tapoff-Take"] = take.public_id
    return response


def _reader(request: HttpRequest) -> Callable[[int], bytes]:
    """Reads the body in pieces as they arrive: request.body would hold the whole of it, and lose it at a cut."""
    socket = request.META.get("gunicorn.socket")
    if socket is not None:
        # A phone that changed its network says no goodbye: without this the dead connection holds the upload.
        socket.settimeout(settings.UPLOAD_STALL_S)
    if request.META.get("wsgi.input_terminated") and "chunked" in request.headers.get("Transfer-Encoding", ""):
        return request.META["wsgi.input"].read
    return request.read


def _checksum(header: str | None) -> tuple[str, bytes] | None:
    if header is None:
        return None
    algorithm, _, value = header.partition(" ")
    if algorithm not in ALGORITHMS:
        raise Answer(400, f"Upload-Checksum: {algorithm!r} is not known here.")
    try:
        digest = base64.b64decode(value.strip(), validate=True)
    except binascii.Error:
        raise Answer(400, "Upload-Checksum: the value cannot be read.") from None
    if len(digest) != hashlib.new(algorithm, usedforsecurity=False).digest_size:
        raise Answer(400, "Upload-Checksum: the value has the wrong length.")
    return algorithm, digest


def _delete(request: HttpRequest, public_id: str) -> HttpResponse:
    upload = _mine(request, public_id)
    if upload.ended_at is not None:
        raise Http404  # it is a take by now, and withdrawn as one
    actions.abandon_upload(upload)
    return HttpResponse(status=204)


uploads = _tus(POST=_create)
upload = _tus(HEAD=_head, PATCH=_patch, DELETE=_delete)
