"""Each component in each state, on one page for developers."""

import math

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from .. import forms, overview
from ..templatetags.line import STATES
from .answer import BarPlace

INSTRUMENTS = [
    ("snare", "all"),
    ("tenors", "all"),
    *(("bass", str(n)) for n in range(1, 6)),
    ("bass", "all"),
    ("cymbals", "all"),
]


def _strokes() -> list[dict]:
    """Four bars of sixteenths at 120, the third bar loose: computed, so that the picture shows every kind of stroke."""
    strokes = []
    for n in range(64):
        swing = 25 * math.sin(n * 1.7) if 32 <= n < 48 else 4 * math.sin(n * 2.3)
        strokes.append(
            {"bar": n // 16 + 1, "written_s": n * 0.125, "late_ms": None if n in (20, 37) else swing, "kind": "stroke"}
        )
    return strokes


@require_safe
def components(request: HttpRequest) -> HttpResponse:
    seats = [
        overview.Seat(kind, drum, f"{kind} {drum}" if kind == "bass" else kind, STATES[n % len(STATES)], "", "", n == 2)
        for n, (kind, drum) in enumerate(INSTRUMENTS)
    ]
    plain = forms.RenewLinkForm()
    wrong = forms.RenewLinkForm({"email": "nobody"})
    wrong.is_valid()
    context = {
        "states": STATES,
        "instruments": INSTRUMENTS,
        "seats": seats,
        "plain": plain,
        "wrong": wrong,
        "decision": forms.DecisionForm(),
        "send": forms.SendTakeForm(),
        "strokes": _strokes(),
        "bars": [BarPlace(n + 1, n * 2.0, 2.0, 4) for n in range(4)],
        "levels": (1, 2, 3, 4),
        "by_count": [("1", -2.1, 5.0, 16), ("e", 14.0, 9.2, 16), ("&", 0.4, 4.1, 16), ("a", -22.5, 12.0, 15)],
        "practise": [3, 2],
    }
    return render(request, "developers/components.html", context)
