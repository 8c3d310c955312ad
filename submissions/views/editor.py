"""The editor's pages: the bench, the shortlist of a part, picks, nudges and exports."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from .. import access, actions, forms, overview
from . import bench as benchwork
from . import words


@access.desk
@require_safe
def bench(request: HttpRequest, slug: str) -> HttpResponse:
    """The line from above becoming the picture: one line a segment, every chair a way to its shortlist."""
    call = access.editors_call(request, slug)
    parts = overview.parts_now(call, for_editor=True)
    lines = [
        {
            "segment": segment,
            "seats": overview.line_of_segment(
                here, names=True, url=lambda part: reverse("shortlist", args=[slug, part.pk])
            ),
            "line_up": benchwork.line_up(here),
        }
        for segment, here in overview.by_segment(parts)
    ]
    return render(request, "editor/bench.html", {"call": call, "lines": lines, "totals": overview.totals(parts)})


@access.desk
@require_safe
def shortlist(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """The best takes of a part and why, playing from zero at one touch."""
    part = access.editors_part(request, slug, pk)
    parts = overview.parts_now(part.segment.call, for_editor=True)
    now = next((n for n in parts if n.part.pk == part.pk), None)
    context = {
        "call": part.segment.call,
        "part": part,
        "now": now,
        "ranked": benchwork.ranked(now),
        "chairs": benchwork.chairs(now),
    }
    return render(request, "editor/shortlist.html", context)


@access.desk
@require_POST
def pick(request: HttpRequest, slug: str, public_id: str) -> HttpResponse:
    """Put a take on a chair, or take it off again."""
    take = access.editors_take(request, slug, public_id)
    chair = get_object_or_404(take.part.chairs, number=request.POST.get("chair", "0"))
    try:
        actions.pick(chair, take, request.user)
        messages.success(
            request, _("%(name)s sits on chair %(n)d now.") % {"name": take.entry.display_name, "n": chair.number}
        )
    except actions.Refused as error:
        messages.error(request, words.said(error))
    return redirect("shortlist", slug, take.part_id)


@access.desk
@require_POST
def unpick(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Empty a chair."""
    pick = access.editors_pick(request, slug, pk)
    actions.unpick(pick.chair)
    messages.success(request, _("The chair is empty again."))
    return redirect("shortlist", slug, pick.chair.part_id)


@access.desk
@require_POST
def nudge(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Shift a pick; positive is later."""
    pick = access.editors_pick(request, slug, pk)
    form = forms.NudgeForm(request.POST)
    if form.is_valid():
        actions.apply_nudge(pick, request.user, form.cleaned_data["shift_ms"], request.POST.get("why", "")[:300])
        messages.success(request, _("The pick is shifted."))
    else:
        messages.error(request, _("A nudge is a number of milliseconds between -500 and 500."))
    return redirect("shortlist", slug, pick.chair.part_id)


@access.desk
def exports(request: HttpRequest, slug: str) -> HttpResponse:
    """What can be made from the cut, and what was made."""
    call = access.editors_call(request, slug)
    if request.method == "POST":
        kind = request.POST.get("kind", "")
        try:
            actions.order_export(call, request.user, kind)
            messages.success(request, _("It is being made; it appears below."))
        except actions.Refused as error:
            messages.error(request, words.said(error))
        return redirect("exports", slug)
    picked = overview.totals(overview.parts_now(call, for_editor=True))["picked"]
    context = {"call": call, "kinds": benchwork.KINDS.values(), "picked": picked, **benchwork.made(call)}
    template = "editor/exports_made.html" if request.htmx else "editor/exports.html"
    return render(request, template, context)
