"""The doors to stored files: materials for everybody, takes and exports for those who may have them."""

from django.http import Http404, HttpRequest, HttpResponseBase
from django.views.decorators.http import require_safe

from .. import access
from .serve import serve


@require_safe
def material(request: HttpRequest, slug: str, pk: int, name: str) -> HttpResponseBase:
    """One file of a part's materials, by the name it is listed under; drafts only for those who work on them."""
    part = access.readable_part(request, slug, pk)
    for file in part.materials.get("files", []):
        if file["name"] == name:
            return serve(request, file["key"], name, download="download" in request.GET)
    raise Http404


@require_safe
def take_video(request: HttpRequest, public_id: str) -> HttpResponseBase:
    """The video of a take, for its player, its organizer, and its editors once everybody agreed."""
    take = access.watchable_take(request, public_id)
    return serve(request, take.storage_key, f"take-{take.pk}{take.ending}", download="download" in request.GET)


@require_safe
def take_file(request: HttpRequest, public_id: str, name: str) -> HttpResponseBase:
    """A file derived from a take (poster, preview), for the same people."""
    take = access.watchable_take(request, public_id)
    if name not in take.files:
        raise Http404
    key = take.files[name]
    return serve(request, key, f"take-{take.pk}-{name}.{key.rsplit('.', 1)[-1]}")


@require_safe
def export_file(request: HttpRequest, slug: str, public_id: str, name: str) -> HttpResponseBase:
    """One file of a finished export."""
    export = access.editors_export(request, slug, public_id)
    for file in export.files:
        if file["name"] == name:
            return serve(request, file["key"], name, download=True)
    raise Http404
