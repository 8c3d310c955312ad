"""Who may have which object. Views get objects here and nowhere else; a stranger gets 404, never 403.

A private link is opened once, at its own address: the right it gives is kept in the session, so that no page a player
reads has a secret in its address.
"""

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone

from portal import limits

from .models import Call, Entry, Export, MagicLink, PartRow, Pick, Segment, Take, Upload

SESSION = "links"  # {public id of an entry: [primary keys of links]}

desk = login_required  # organizer's and editor's views: an anonymous visitor is sent to sign in


# -- everybody ---------------------------------------------------------------------------------------------------
def public_call(slug: str) -> Call:
    """A published or closed call."""
    return get_object_or_404(Call.objects.public(), slug=slug)


def public_part(slug: str, pk: int) -> PartRow:
    """A part that a published or closed call offers."""
    return get_object_or_404(
        PartRow.objects.select_related("segment__call"),
        pk=pk,
        offered=True,
        segment__call__slug=slug,
        segment__call__state__in=[Call.State.PUBLISHED, Call.State.CLOSED],
    )


def readable_part(request: HttpRequest, slug: str, pk: int) -> PartRow:
    """A part whose materials this visitor may read: any published one, and a draft's for those who work on it."""
    part = get_object_or_404(PartRow.objects.select_related("segment__call"), pk=pk, segment__call__slug=slug)
    if part.offered and part.segment.call.state != Call.State.DRAFT:
        return part
    if request.user.is_authenticated and Call.objects.edited_by(request.user).filter(slug=slug).exists():
        return part
    raise Http404


# -- players and guardians ---------------------------------------------------------------------------------------
def open_link(request: HttpRequest, secret: str) -> MagicLink:
    """The link of this secret, now open in this session; 404 when it opens nothing, TooOften after many guesses."""
    who = limits.address_of(request)
    limits.look("link", who)
    link = MagicLink.objects.select_related("entry__call").filter(digest=MagicLink.digest_of(secret)).first()
    if link is None or not link.opens:
        limits.count("link", who)
        raise Http404
    MagicLink.objects.filter(pk=link.pk).update(last_used_at=timezone.now())
    remember(request, link)
    return link


def remember(request: HttpRequest, link: MagicLink) -> None:
    """Keep the right of this link in the session, under a new session key so that an older one gains nothing."""
    if link.purpose == MagicLink.Purpose.STOP:
        return
    request.session.cycle_key()
    links = request.session.setdefault(SESSION, {})
    held = links.setdefault(link.entry.public_id, [])
    if link.pk not in held:
        held.append(link.pk)
    request.session.modified = True


def held_link(request: HttpRequest, public_id: str, purpose: str) -> MagicLink:
    """The open link of this purpose that this session holds for this entry; 404 otherwise."""
    held = request.session.get(SESSION, {}).get(public_id, [])
    links = MagicLink.objects.select_related("entry__call").filter(
        pk__in=held, purpose=purpose, entry__public_id=public_id
    )
    for link in links:
        if link.opens:
            return link
    raise Http404


def my_entry(request: HttpRequest, public_id: str) -> Entry:
    """The player's own entry."""
    return held_link(request, public_id, MagicLink.Purpose.PLAYER).entry


def ward(request: HttpRequest, public_id: str) -> Entry:
    """The entry of the player for whom this guardian speaks."""
    return held_link(request, public_id, MagicLink.Purpose.GUARDIAN).entry


def my_entries(request: HttpRequest) -> list[Entry]:
    """All entries this session holds a player's link for (a family may share one phone)."""
    found = []
    for public_id in request.session.get(SESSION, {}):
        try:
            found.append(my_entry(request, public_id))
        except Http404:
            continue
    return found


def my_take(request: HttpRequest, public_id: str) -> Take:
    """One of the player's own takes, try-outs included, withdrawn ones not."""
    take = get_object_or_404(
        Take.objects.kept().select_related("entry", "part__segment__call", "report"), public_id=public_id
    )
    my_entry(request, take.entry.public_id)
    return take


def my_upload(request: HttpRequest, public_id: str) -> Upload:
    """One of the player's own uploads, whether it is complete or not."""
    upload = get_object_or_404(Upload.objects.select_related("entry__call", "part"), public_id=public_id)
    my_entry(request, upload.entry.public_id)
    return upload


# -- organizer -----------------------------------------------------------------------------------------------------
def organizers_call(request: HttpRequest, slug: str) -> Call:
    return get_object_or_404(Call.objects.organized_by(request.user), slug=slug)


def organizers_segment(request: HttpRequest, slug: str, pk: int) -> Segment:
    return get_object_or_404(Segment, call=organizers_call(request, slug), pk=pk)


def organizers_part(request: HttpRequest, slug: str, pk: int) -> PartRow:
    return get_object_or_404(
        PartRow.objects.select_related("segment__call"), segment__call=organizers_call(request, slug), pk=pk
    )


def organizers_entry(request: HttpRequest, slug: str, public_id: str) -> Entry:
    return get_object_or_404(Entry, call=organizers_call(request, slug), public_id=public_id)


def organizers_take(request: HttpRequest, slug: str, public_id: str) -> Take:
    return get_object_or_404(Take.objects.for_organizer(organizers_call(request, slug)), public_id=public_id)


# -- editor --------------------------------------------------------------------------------------------------------
def editors_call(request: HttpRequest, slug: str) -> Call:
    """A call this person edits; its organizer may do all that an editor may."""
    return get_object_or_404(Call.objects.edited_by(request.user), slug=slug)


def editors_part(request: HttpRequest, slug: str, pk: int) -> PartRow:
    return get_object_or_404(
        PartRow.objects.select_related("segment__call"), segment__call=editors_call(request, slug), pk=pk
    )


def editors_take(request: HttpRequest, slug: str, public_id: str) -> Take:
    """A take that the editor may see: agreed to, and by a guardian where one must agree."""
    return get_object_or_404(Take.objects.for_editor(editors_call(request, slug)), public_id=public_id)


def editors_pick(request: HttpRequest, slug: str, pk: int) -> Pick:
    call = editors_call(request, slug)
    return get_object_or_404(Pick, pk=pk, chair__part__segment__call=call, take__in=Take.objects.for_editor(call))


def editors_export(request: HttpRequest, slug: str, public_id: str) -> Export:
    return get_object_or_404(Export, call=editors_call(request, slug), public_id=public_id)


# -- whoever may watch a take (the file views) -----------------------------------------------------------------------
def watchable_take(request: HttpRequest, public_id: str) -> Take:
    """The take for its player, its call's organizer, or its editors once everybody agreed; 404 for all others."""
    take = get_object_or_404(Take.objects.kept().select_related("entry", "part__segment__call"), public_id=public_id)
    if request.user.is_authenticated and not take.is_tryout:
        call = take.part.segment.call
        if call.organizer_id == request.user.pk:
            return take
        if call.editors.filter(pk=request.user.pk).exists() and Take.objects.for_editor(call).filter(pk=take.pk):
            return take
    my_entry(request, take.entry.public_id)
    return take
