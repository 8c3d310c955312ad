"""Stored files to the browser: whole or in ranges (RFC 9110, sections 13.1.5, 14 and 15.3.7), never executed."""

import mimetypes
import re
from collections.abc import Iterator

from django.conf import settings
from django.core.files.storage import default_storage, storages
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect, StreamingHttpResponse
from django.utils.http import content_disposition_header

PIECE = 256 * 1024
RANGE = re.compile(r"bytes=(\d*)-(\d*)$")
KINDS = {".mp4": "video/mp4", ".m4v": "video/mp4", ".mov": "video/quicktime", ".webm": "video/webm"}
KINDS |= {".mkv": "video/x-matroska", ".wav": "audio/wav", ".mid": "audio/midi", ".json": "application/json"}


def serve(request: HttpRequest, key: str, filename: str, download: bool = False) -> HttpResponseBase:
    """The stored file under a name that we choose. From S3 it is fetched directly, by a link of ten minutes."""
    kind = KINDS.get(_ending(key)) or mimetypes.guess_type(filename)[0] or "application/octet-stream"
    shown = content_disposition_header(as_attachment=download, filename=filename) or "inline"
    if settings.STORAGE == "s3":
        named = {"ResponseContentDisposition": shown, "ResponseContentType": kind}
        return HttpResponseRedirect(storages["links"].url(key, parameters=named))
    return _ranged(request, key, {"Content-Type": kind, "Content-Disposition": shown})


def _ending(key: str) -> str:
    return "." + key.rsplit(".", 1)[-1].lower() if "." in key else ""


def _ranged(request: HttpRequest, key: str, headers: dict[str, str]) -> HttpResponseBase:
    size, tag = default_storage.size(key), f'"{key.rsplit("/", 1)[-1]}"'  # a key is never used for other content
    headers |= {"Accept-Ranges": "bytes", "ETag": tag, "Cache-Control": "private, no-cache"}
    if request.headers.get("If-None-Match") == tag:
        return HttpResponse(status=304, headers=headers)
    wanted = request.headers.get("Range")
    if wanted and request.headers.get("If-Range", tag) == tag:
        span = _span(wanted, size)
        if span == "none":
            return HttpResponse(status=416, headers={"Content-Range": f"bytes */{size}"})
        if isinstance(span, tuple):
            first, last = span
            headers |= {"Content-Range": f"bytes {first}-{last}/{size}"}
            return _stream(request, key, first, last - first + 1, 206, headers)
    return _stream(request, key, 0, size, 200, headers)


def _span(wanted: str, size: int) -> tuple[int, int] | str:
    """First and last byte; "none" when nothing lies in the range; "all" when the header is to be ignored."""
    match = RANGE.match(wanted.strip())
    if match is None or match.group(1) == match.group(2) == "":
        return "all"  # several ranges or another unit: the whole file is a right answer
    first, last = match.groups()
    if not first:
        return (max(0, size - int(last)), size - 1) if int(last) and size else "none"
    if last and int(last) < int(first):
        return "all"
    if int(first) >= size:
        return "none"
    return int(first), min(int(last), size - 1) if last else size - 1


def _stream(request: HttpRequest, key: str, first: int, length: int, status: int, headers: dict) -> HttpResponseBase:
    headers = headers | {"Content-Length": str(length)}
    if request.method == "HEAD":
        return HttpResponse(status=status, headers=headers)
    return StreamingHttpResponse(_pieces(key, first, length), status=status, headers=headers)


def _pieces(key: str, first: int, length: int) -> Iterator[bytes]:
    with default_storage.open(key) as file:
        file.seek(first)
        while length > 0 and (piece := file.read(min(PIECE, length))):
            length -= len(piece)
            yield piece
