"""What a player sees of their own: parts and takes with their states; and the calls there are."""

from dataclasses import dataclass

from ..models import Call, Consent, ConsentText, Entry, PartRow, Pick, Take
from .line import take_state


@dataclass(frozen=True)
class TakeRow:
    """One take with its state, for lists."""

    take: Take
    state: str


@dataclass(frozen=True)
class MyPart:
    """One of a player's parts with the newest take of it."""

    part: PartRow
    take: Take | None
    state: str


def rows_of(entry: Entry, part: PartRow | None = None, tryout: bool | None = None) -> list[TakeRow]:
    """A player's own takes, newest first."""
    takes = entry.takes.kept().select_related("part__segment__call", "report").prefetch_related("decisions")
    if part is not None:
        takes = takes.filter(part=part)
    if tryout is not None:
        takes = takes.filter(is_tryout=tryout)
    picked = set(Pick.objects.filter(take__entry=entry).values_list("take_id", flat=True))
    return [TakeRow(take, "picked" if take.pk in picked else take_state(take)) for take in takes]


def my_parts(entry: Entry) -> list[MyPart]:
    """A player's parts in running order with the newest take that counts."""
    newest: dict[int, TakeRow] = {}
    for row in rows_of(entry, tryout=False):
        newest.setdefault(row.take.part_id, row)
    parts = entry.parts.select_related("segment__call").order_by("segment__place", "place")
    return [
        MyPart(p, newest[p.pk].take, newest[p.pk].state) if p.pk in newest else MyPart(p, None, "empty") for p in parts
    ]


def public_calls() -> list[Call]:
    """Calls for the front page: open ones by deadline, then the closed ones, newest first."""
    calls = list(Call.objects.public())
    return [c for c in calls if c.is_open] + [c for c in reversed(calls) if not c.is_open]


def text_to_agree_to(entry: Entry) -> ConsentText | None:
    """The newest consent text if this player has not agreed to it yet."""
    newest = entry.call.consent_texts.first()
    if newest is None or entry.consents.filter(text=newest, by=Consent.By.PLAYER, withdrawn_at=None).exists():
        return None
    return newest
