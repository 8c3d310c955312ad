"""The organizer's page to set right how a part was read: strokes of rolls, drums of a line."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from .. import access, actions, forms, overview
from ..models import PartRow
from . import scores, shelf, words


@access.desk
def correct_reading(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Every roll and every place of the line with what it was read as, and a field to say otherwise."""
    part = access.organizers_part(request, slug, pk)
    reading = scores.reading_of(part)
    if "wrong" in reading:
        return redirect("desk-part", slug, pk)
    form = forms.CorrectionsForm(reading, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            remade = actions.correct_reading(part, form.wanted_rolls, form.wanted_drums)
        except actions.Refused as error:
            form.add_error(None, words.said(error))
        else:
            messages.success(request, words.remade(remade) if remade else _("Nothing was changed."))
            return redirect("segments", slug)
    context = {"call": part.segment.call, "part": part, "form": form, "reading": reading} | _shown(part, form)
    return render(request, "organizer/reading.html", context, status=422 if form.errors else 200)


def _shown(part: PartRow, form: forms.CorrectionsForm) -> dict[str, Any]:
    """Groups of rolls with their bars, and the places of the line, each with a picture of its bar where one is made."""
    row = overview.row_of_the_line(part)
    groups = []
    for group in form.groups:
        bars: dict[int, dict[str, Any]] = {}
        for roll in group.rolls:
            name = f"roll-{form.rolls.index(roll)}"
            here = bars.setdefault(roll.bar, {"picture": shelf.bar_picture(row, roll.bar), "rolls": []})
            if name in form.fields:
                here["rolls"].append({"roll": roll, "field": form[name]})
        single = len(group.rolls) == 1
        wrong = any(one["field"].errors for bar in bars.values() for one in bar["rolls"])
        changed = any(roll.corrected for roll in group.rolls)
        groups.append(
            {
                "first": group.rolls[0],
                "count": len(group.rolls),
                "bars": bars,
                "alike": None if single else form[group.name],
                "open": single or wrong or changed,
            }
        )
    places = [
        {
            "place": place,
            "field": form[f"drums-{n}"],
            "picture": shelf.bar_picture(row, place.bars[0] if place.bars else 0),
        }
        for n, place in enumerate(form.places)
    ]
    return {"groups": groups, "places": places, "sent": overview.takes_of_the_line(part)}
