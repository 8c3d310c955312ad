"""The organizer's pages: calls, segments, the board, takes and decisions."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from .. import access, actions, forms, overview
from ..models import Call
from . import scores, shelf, words
from .answer import findings_of, timing_context

# What create_call and edit_call take straight from the form.
CALL_FIELDS = tuple(name for name in actions.EDITABLE if name in forms.CallForm.base_fields)


@access.desk
@require_safe
def desk(request: HttpRequest) -> HttpResponse:
    """Everything this person organizes or edits."""
    mine, edited = overview.calls_of(request.user)
    return render(request, "organizer/desk.html", {"mine": mine, "edited": edited})


@access.desk
def new_call(request: HttpRequest) -> HttpResponse:
    """A new draft."""
    form = forms.CallForm(
        request.POST or None, initial={"deadline_zone": "UTC", "consent_text": words.consent_proposal()}
    )
    if request.method == "POST" and form.is_valid():
        fields = {name: form.cleaned_data[name] for name in CALL_FIELDS}
        call = actions.create_call(request.user, consent_text=form.cleaned_data["consent_text"], **fields)
        if form.cleaned_data["rights_statement"]:
            actions.state_rights(call, form.cleaned_data["rights_statement"])
        messages.success(request, _("The call is a draft. Now put the music in."))
        return redirect("segments", call.slug)
    return render(
        request, "organizer/call_form.html", {"form": form, "zones": words.zones()}, status=422 if form.errors else 200
    )


@access.desk
def edit_call(request: HttpRequest, slug: str) -> HttpResponse:
    """Change what a call says."""
    call = access.organizers_call(request, slug)
    form = forms.CallForm(request.POST or None, initial=_call_values(call))
    if request.method == "POST" and form.is_valid():
        actions.edit_call(call, **{name: form.cleaned_data[name] for name in CALL_FIELDS})
        actions.add_consent_text(call, form.cleaned_data["consent_text"])
        try:
            if form.cleaned_data["rights_statement"] != call.rights_statement:
                actions.state_rights(call, form.cleaned_data["rights_statement"])
        except actions.Refused as error:
            form.add_error(words.field_of(form, error), words.said(error))
        else:
            messages.success(request, _("The call is changed."))
            return redirect("board" if call.state != Call.State.DRAFT else "segments", call.slug)
    return render(
        request,
        "organizer/call_form.html",
        {"form": form, "call": call, "zones": words.zones()},
        status=422 if form.errors else 200,
    )


def _call_values(call: Call) -> dict:
    values = {name: getattr(call, name) for name in (*CALL_FIELDS, "rights_statement")}
    newest = call.consent_texts.first()
    return values | {
        "deadline": call.local_deadline.replace(tzinfo=None),
        "consent_text": newest.text if newest else "",
    }


@access.desk
def segments(request: HttpRequest, slug: str) -> HttpResponse:
    """The running order: scores, what was read of them, chairs, and whether the call can be published."""
    call = access.organizers_call(request, slug)
    form = forms.SegmentForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            segment = actions.add_segment(
                call,
                title=form.cleaned_data["title"],
                score=form.cleaned_data["score"].read(),
                times=form.cleaned_data["times"],
            )
        except actions.Refused as error:
            form.add_error(words.field_of(form, error), words.said(error))
        else:
            messages.success(
                request, _("“%(title)s” is read. See below what was found in it.") % {"title": segment.title}
            )
            return redirect("segments", slug)
    context = {
        "call": call,
        "form": form,
        "segments": overview.segments_of(call),
        "missing": overview.missing_to_publish(call),
    }
    return render(request, "organizer/segments.html", context, status=422 if form.errors else 200)


@access.desk
def change_segment(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Another title, other repeats, or a corrected score for a piece that is in."""
    segment = access.organizers_segment(request, slug, pk)
    form = forms.ChangeSegmentForm(
        request.POST or None, request.FILES or None, initial={"title": segment.title, "times": segment.times}
    )
    if request.method == "POST" and form.is_valid():
        score = form.cleaned_data["score"]
        try:
            remade = actions.update_segment(
                segment,
                title=form.cleaned_data["title"],
                times=form.cleaned_data["times"],
                score=score.read() if score else None,
            )
        except actions.Refused as error:
            form.add_error(words.field_of(form, error), words.said(error))
        else:
            said = words.remade(remade) if remade else _("Kept. The score is the one that was there.")
            messages.success(request, said)
            return redirect("segments", slug)
    context = {"call": segment.call, "segment": segment, "form": form, "sent": overview.takes_of_the_segment(segment)}
    return render(request, "organizer/segment.html", context, status=422 if form.errors else 200)


@access.desk
@require_POST
def place_segment(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Move a segment in the running order, or take it out."""
    segment = access.organizers_segment(request, slug, pk)
    try:
        if "remove" in request.POST:
            actions.remove_segment(segment)
        elif "up" in request.POST or "down" in request.POST:
            actions.order_segments(segment.call, overview.moved(segment, -1 if "up" in request.POST else 1))
    except actions.Refused as error:
        messages.error(request, words.said(error))
    return redirect("segments", slug)


@access.desk
def desk_part(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """One part as it was read: bars, strokes, rolls, what was not read; and its chairs."""
    part = access.organizers_part(request, slug, pk)
    form = forms.ChairsForm(request.POST or None, initial={"wanted": part.chairs.count()})
    if request.method == "POST" and form.is_valid():
        try:
            actions.set_chairs(part, form.cleaned_data["wanted"])
        except actions.Refused as error:
            form.add_error("wanted", words.said(error))
        else:
            messages.success(request, _("The chairs are set."))
            return redirect("segments", slug)
    context = {
        "call": part.segment.call,
        "part": part,
        "form": form,
        "reading": scores.reading_of(part),
        "files": shelf.materials_of(part),
    }
    return render(request, "organizer/part.html", context, status=422 if form.errors else 200)


@access.desk
@require_POST
def publish(request: HttpRequest, slug: str) -> HttpResponse:
    """Open the call to players."""
    call = access.organizers_call(request, slug)
    try:
        actions.publish_call(call)
    except actions.Refused as error:
        messages.error(request, words.said(error))
        return redirect("segments", slug)
    messages.success(request, _("The call is open. Send its address to your players."))
    return redirect("board", slug)


@access.desk
def close(request: HttpRequest, slug: str) -> HttpResponse:
    """Take no more takes; asked once more, because every player is told."""
    call = access.organizers_call(request, slug)
    if request.method != "POST":
        return render(request, "organizer/close.html", {"call": call})
    try:
        actions.close_call(call)
        messages.success(request, _("The call is closed. Everybody who sent a take is thanked by mail."))
    except actions.Refused as error:
        messages.error(request, words.said(error))
    return redirect("board", slug)


@access.desk
@require_safe
def board(request: HttpRequest, slug: str) -> HttpResponse:
    """Which chairs will be empty, who can still fill them, what needs the organizer's eye now."""
    call = access.organizers_call(request, slug)
    parts = overview.parts_now(call)
    by_segment = [
        {
            "segment": segment,
            "parts": here,
            "seats": overview.line_of_segment(
                here, names=True, url=lambda part: reverse("part-takes", args=[slug, part.pk])
            ),
        }
        for segment, here in overview.by_segment(parts)
    ]
    context = {
        "call": call,
        "by_segment": by_segment,
        "totals": overview.totals(parts),
        "eye": overview.for_the_eye(parts),
        "people": overview.people_of(call),
        "now": timezone.now(),
        "public_url": request.build_absolute_uri(reverse("call", args=[slug])),
    }
    template = "organizer/board_now.html" if request.htmx else "organizer/board.html"
    return render(request, template, context)


@access.desk
@require_safe
def part_takes(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """All newest takes of one part."""
    part = access.organizers_part(request, slug, pk)
    now = next((n for n in overview.parts_now(part.segment.call) if n.part.pk == part.pk), None)
    rows = [overview.TakeRow(take, overview.take_state(take)) for take in (now.takes if now else [])]
    return render(
        request, "organizer/part_takes.html", {"call": part.segment.call, "part": part, "now": now, "rows": rows}
    )


@access.desk
def desk_take(request: HttpRequest, slug: str, public_id: str) -> HttpResponse:
    """One take: video, findings, timing, and the organizer's decision."""
    take = access.organizers_take(request, slug, public_id)
    form = forms.DecisionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        actions.decide(take, request.user, form.cleaned_data["word"], form.cleaned_data["note"])
        messages.success(request, _("Your decision is kept. The machine's verdict stays beside it."))
        return redirect("desk-take", slug, public_id)
    context = {
        "call": take.part.segment.call,
        "take": take,
        "machine": take.verdict or "waiting",
        "form": form,
        "decisions": take.decisions.all(),
        "video_url": shelf.take_url(take),
        "poster_url": shelf.poster_url(take),
        "zone": take.part.segment.call.deadline_zone,
    }
    if hasattr(take, "report"):
        context |= {"report": take.report, "findings": findings_of(take.report.body), **timing_context(take)}
    return render(request, "organizer/take.html", context, status=422 if form.errors else 200)
