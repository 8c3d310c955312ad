"""The line from above: chairs, and how far each is, read in a fixed number of queries for a whole call."""

from dataclasses import dataclass, field

from ..models import Call, Chair, PartRow, Pick, Take
from ..sentences import in_words

# A chair shows the best take it can count on; earlier in this list is less.
STATES = ("empty", "redo", "waiting", "look", "ready", "picked")
SECTION_ORDER = ("snare", "tenors", "bass", "cymbals", "other")


@dataclass(frozen=True)
class Seat:
    """One chair as it stands in the line from above."""

    instrument: str
    drum: str
    label: str
    state: str
    who: str = ""
    url: str = ""
    mine: bool = False


@dataclass
class PartNow:
    """One part with its chairs and what has come for it."""

    part: PartRow
    chairs: list[Chair]
    takes: list[Take] = field(default_factory=list)  # each player's newest
    picks: dict[int, Pick] = field(default_factory=dict)  # by chair

    def count(self, state: str) -> int:
        return sum(1 for take in self.takes if take_state(take) == state)

    @property
    def wanted(self) -> int:
        return len(self.chairs)

    @property
    def received(self) -> int:
        return len(self.takes)

    @property
    def ready(self) -> int:
        return self.count("ready")

    @property
    def look(self) -> int:
        return self.count("look")

    @property
    def redo(self) -> int:
        return self.count("redo")

    @property
    def waiting(self) -> int:
        return self.count("waiting")

    @property
    def picked(self) -> int:
        return len(self.picks)

    @property
    def open(self) -> int:
        """Chairs for which no usable take has come."""
        return max(0, self.wanted - self.ready)

    @property
    def seat_states(self) -> list[tuple[str, str]]:
        """State and player of each chair: picks sit where they were put, other takes fill up from the best."""
        sitting = {pick.take_id for pick in self.picks.values()}
        others = sorted((t for t in self.takes if t.pk not in sitting), key=lambda t: -STATES.index(take_state(t)))
        seats = []
        for chair in self.chairs:
            pick = self.picks.get(chair.pk)
            if pick:
                seats.append(("picked", pick.take.entry.display_name))
            elif others:
                take = others.pop(0)
                seats.append((take_state(take), take.entry.display_name))
            else:
                seats.append(("empty", ""))
        return seats


@dataclass
class Voice:
    """The same instrument through all segments: what a player chooses."""

    instrument: str
    drum: str
    name: str
    parts: list[PartNow] = field(default_factory=list)
    thin: bool = False  # see mark_thin

    @property
    def key(self) -> str:
        return f"{self.instrument}-{self.drum}-{self.parts[0].part.pk}"

    @property
    def wanted(self) -> int:
        return max(now.wanted for now in self.parts)

    @property
    def open(self) -> int:
        return max(now.open for now in self.parts)

    @property
    def open_share(self) -> float:
        """Open chairs of all its segments over wanted ones."""
        return sum(now.open for now in self.parts) / max(1, sum(now.wanted for now in self.parts))

    @property
    def first(self) -> PartRow:
        return self.parts[0].part

    @property
    def demand(self) -> int:
        """The hardest of its segments, 1 to 4; 0 when nobody has said."""
        return max((demand_of(now.part) for now in self.parts), default=0)

    def seats(self) -> list[tuple[str, str]]:
        """A chair counts as far as its segment that is least far."""
        by_part = [now.seat_states for now in self.parts]
        seats = []
        for n in range(self.wanted):
            here = [states[n] for states in by_part if n < len(states)]
            seats.append(min(here, key=lambda seat: STATES.index(seat[0])))
        return seats


def demand_of(part: PartRow) -> int:
    """1 for a first-year part to 4 for an advanced one, as the music desk suggests; 0 when it has not said."""
    rank = part.demand.get("rank")
    return 0 if rank is None else int(rank) + 1


def take_state(take: Take) -> str:
    """One word for a take: a person's decision counts before the machine's verdict."""
    decision = take.newest_word if hasattr(take, "newest_word") else getattr(take.decision, "word", "")
    if decision == "accept":
        return "ready"
    if decision in ("redo", "leave"):
        return "redo"
    if take.work == "failed":
        return "look"
    return take.verdict or "waiting"


def parts_now(call: Call, for_editor: bool = False) -> list[PartNow]:
    """All offered parts of a call in running order, with chairs, newest takes and picks."""
    parts = list(
        PartRow.objects.filter(segment__call=call, offered=True)
        .select_related("segment")
        .order_by("segment__place", "place", "pk")
    )
    now = {part.pk: PartNow(part, []) for part in parts}
    for chair in Chair.objects.filter(part__in=parts).order_by("part", "number"):
        now[chair.part_id].chairs.append(chair)
    takes = Take.objects.for_editor(call) if for_editor else Take.objects.for_organizer(call)
    for take in takes.newest().select_related("entry", "report").prefetch_related("decisions"):
        if take.part_id in now:
            words = sorted(take.decisions.all(), key=lambda d: (d.made_at, d.pk))
            take.newest_word = words[-1].word if words else ""
            now[take.part_id].takes.append(take)
    for pick in Pick.objects.filter(chair__part__in=parts).select_related("take__entry"):
        for part_now in now.values():
            if any(chair.pk == pick.chair_id for chair in part_now.chairs):
                part_now.picks[pick.chair_id] = pick
    return [part_now for part_now in now.values() if part_now.chairs or part_now.takes]  # others are not asked for


def voices(parts: list[PartNow]) -> list[Voice]:
    """Parts gathered by instrument, drum and name, in the order in which the line stands."""
    found: dict[tuple[str, str, str], Voice] = {}
    for now in parts:
        key = (now.part.instrument, now.part.drum, now.part.name)
        found.setdefault(key, Voice(*key)).parts.append(now)

    def standing(voice: Voice) -> tuple[int, int]:
        kind = voice.instrument if voice.instrument in SECTION_ORDER else "other"
        return SECTION_ORDER.index(kind), voice.parts[0].part.place

    line = sorted(found.values(), key=standing)
    mark_thin(line)
    return line


def mark_thin(line: list[Voice]) -> None:
    """Voices that need players more than the line as a whole does; none while all are equally empty."""
    wanted = sum(now.wanted for voice in line for now in voice.parts)
    whole = sum(now.open for voice in line for now in voice.parts) / max(1, wanted)
    for voice in line:
        voice.thin = voice.open_share > whole + 1e-9 and voice.open_share >= 0.5


def line_of(found: list[Voice], names: bool = False, mine: frozenset[int] = frozenset(), url=None) -> list[Seat]:
    """The line from above over all segments; names only for people who may see them."""
    line = []
    for voice in found:
        states = voice.seats()
        for number, (state, who) in enumerate(states, 1):
            label = in_words(voice.name) if len(states) == 1 else f"{in_words(voice.name)} {number}"
            is_mine = number == 1 and any(now.part.pk in mine for now in voice.parts)
            line.append(
                Seat(
                    voice.instrument,
                    voice.drum,
                    label,
                    state,
                    who if names else "",
                    url(voice.parts[0].part) if url else "",
                    is_mine,
                )
            )
    return line


def line_of_segment(parts: list[PartNow], names: bool = False, url=None) -> list[Seat]:
    """The line from above of one segment."""
    line = []
    for now in parts:
        states = now.seat_states
        for number, (state, who) in enumerate(states, 1):
            name = in_words(now.part.name)
            label = name if len(states) == 1 else f"{name} {number}"
            line.append(
                Seat(
                    now.part.instrument, now.part.drum, label, state, who if names else "", url(now.part) if url else ""
                )
            )
    return line


def easiest_open(found: list[Voice]) -> Voice | None:
    """Where a beginner is led: the least demanding voice that still has an open chair."""
    still = [voice for voice in found if voice.open and voice.demand]
    return min(still, key=lambda voice: (voice.demand, voice.instrument != "bass"), default=None)
