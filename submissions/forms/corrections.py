"""How a part was read, to be set right: strokes of every roll, drums of every place on the staff.

Only what differs from the desk's own reading is a correction; an empty field is the desk's reading again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from ..engine.music.score.rolls import FASTEST_PER_S, MAX_STROKES
from ..templatetags.words import place_words

MOST_SINGLE, MOST_SINGLE_ALIKE = 600, 40  # fields; a form may have a thousand (Django's own limit)


@dataclass(frozen=True)
class Alike:
    """Rolls that were read in the same way: one field sets them all."""

    name: str
    rolls: list[Any]


def _number(roll: Any, label: str, initial: int | None) -> forms.IntegerField:
    least, most = {"pair": (2, MAX_STROKES), "release": (0, 1)}.get(roll.kind, (0, MAX_STROKES))
    return forms.IntegerField(
        label=label,
        required=False,
        initial=initial,
        min_value=least,
        max_value=most,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


def gathered(rolls: Sequence[Any]) -> list[Alike]:
    """Rolls under the way they were read, the most frequent first; what was set by hand stays where it came from."""
    found: dict[tuple[Any, ...], list[Any]] = {}
    for roll in rolls:
        found.setdefault((roll.kind, roll.slashes, roll.read_as, round(roll.length_s, 3)), []).append(roll)
    groups = sorted(found.values(), key=len, reverse=True)
    return [Alike(f"alike-{n}", group) for n, group in enumerate(groups)]


class CorrectionsForm(forms.Form):
    """Fields roll-N for the N-th roll, alike-G for a group of them, drums-N for the N-th place of a line."""

    def __init__(self, reading: dict[str, Any], *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.rolls, self.places = list(reading["rolls"]), list(reading["drums"])
        self.groups = gathered(self.rolls)
        for group in self.groups:
            if len(group.rolls) > 1:
                label = _("Strokes on each of these %(n)s notes") % {"n": len(group.rolls)}
                self.fields[group.name] = _number(group.rolls[0], label, None)
        self.offered = {id(roll) for group in self.groups for roll in group.rolls if self._one_by_one(group)}
        for n, roll in enumerate(self.rolls):
            if id(roll) not in self.offered:
                continue
            label = _("Bar %(bar)s, count %(count)s") % {"bar": roll.bar, "count": roll.count}
            self.fields[f"roll-{n}"] = _number(roll, label, roll.strokes_a_note)
        most = max(6 if reading["instrument"] == "tenors" else 5, *(drum for p in self.places for drum in p.drums), 0)
        choices = [(str(drum), str(drum)) for drum in range(1, most + 1)]
        for n, place in enumerate(self.places):
            self.fields[f"drums-{n}"] = forms.MultipleChoiceField(
                label=place.name or place_words(place.key),
                choices=choices,
                required=False,
                initial=[str(drum) for drum in place.drums],
                widget=forms.CheckboxSelectMultiple,
            )

    def _one_by_one(self, group: Alike) -> bool:
        """Whether each roll of the group has a field of its own; a long part's many would be too many for one form."""
        return len(self.rolls) <= MOST_SINGLE or len(group.rolls) <= MOST_SINGLE_ALIKE

    def clean(self) -> dict:
        """What is wanted, roll by roll; refused where nobody could play it or no drum is left."""
        data = super().clean()
        self.wanted_rolls: dict[tuple[int, str], int] = {}
        for group in self.groups:
            for roll in group.rolls:
                self._take_roll(roll, data, group)
        self.wanted_drums = self._drums(data)
        return data

    def _take_roll(self, roll: Any, data: dict[str, Any], group: Alike) -> None:
        name = f"roll-{self.rolls.index(roll)}"
        if name in self.errors:
            return
        own = data.get(name) if name in self.fields else roll.strokes_a_note
        together = data.get(group.name)
        strokes = together if together is not None and own in (roll.strokes_a_note, None) else own
        if strokes is None or strokes == roll.read_as:
            return
        fitting = max(2, int(FASTEST_PER_S * roll.length_s), roll.read_as)
        if roll.kind != "release" and strokes > fitting:
            field = group.name if name not in self.fields or (strokes == together and strokes != own) else name
            says = _(
                "Bar %(bar)s, count %(count)s: the note is too short for %(n)s strokes; at most %(most)s can be played."
            )
            words = {"bar": roll.bar, "count": roll.count, "n": strokes, "most": fitting}
            if field not in self.errors:
                self.add_error(field, says % words)
            return
        self.wanted_rolls[roll.bar, roll.count] = strokes

    def _drums(self, data: dict[str, Any]) -> dict[str, list[int]]:
        wanted: dict[str, list[int]] = {}
        left = 0
        for n, place in enumerate(self.places):
            drums = sorted(int(drum) for drum in data.get(f"drums-{n}", []))
            left += len(drums)
            if drums != sorted(place.read_as):
                wanted[place.key] = drums
        if self.places and not left:
            self.add_error(
                "drums-0", _("Every place is left out; then nobody has a note to play. Tick at least one drum.")
            )
        return wanted
