"""What a made take is asked to be: kit, room, noise, phone, player, ways of zero, faults. Frozen values.

Conventions: levels in dB; `_s` seconds; levels of clicks, marks, voices and noise are peak (clicks, marks) or RMS
(noise) relative to the peak of a middling stroke at the microphone, negative is under the drums.
"""

from dataclasses import dataclass, field

from ..music.sounds import FIELD
from ..music.written import Part
from .kits import AnyKit


@dataclass(frozen=True, slots=True)
class Skill:
    """How somebody plays. The middle one is modelled on real drummers playing to a metronome.

    Source of `INTERMEDIATE`: 130 performances of an open data set of human drummers: spread 18 ms, bias -8.6 ms,
    lag-1 correlation 0.3. The others are scaled from it; what is said of flams and diddles is common practice.
    """

    name: str
    spread_ms: float
    bias_ms: float
    bias_spread_ms: float  # players differ: each take draws its own bias around bias_ms
    missed_share: float
    extra_share: float
    flam_ms: tuple[float, float]  # gaps lie between these
    diddle_ms: float  # spread of the second stroke of a diddle against its first
    level_db: float  # spread of loudness from stroke to stroke
    lag_one: float = 0.3


BEGINNER = Skill("beginner", 28.0, -12.0, 14.0, 0.035, 0.02, (10.0, 60.0), 12.0, 3.0)
INTERMEDIATE = Skill("intermediate", 18.0, -8.6, 10.0, 0.012, 0.006, (14.0, 50.0), 8.0, 2.2)
GOOD = Skill("good", 11.0, -5.0, 7.0, 0.004, 0.002, (18.0, 42.0), 5.0, 1.6)
PROFESSIONAL = Skill("professional", 6.0, -2.0, 5.0, 0.0, 0.0, (22.0, 34.0), 3.0, 1.0)
SKILLS = (BEGINNER, INTERMEDIATE, GOOD, PROFESSIONAL)


@dataclass(frozen=True, slots=True)
class Room:
    """rt60_s 0 is a dry room; direct_db is direct sound over the room's energy."""

    rt60_s: float = 0.0
    direct_db: float = 6.0
    early: int = 6  # single reflections within the first 40 ms


@dataclass(frozen=True, slots=True)
class Noise:
    """RMS levels under a middling stroke's peak; None: not there."""

    pink_db: float | None = -60.0
    hum_db: float | None = None
    hum_hz: float = 50.0
    wind_db: float | None = None  # gusts on the microphone: rumble below 150 Hz that comes and goes


@dataclass(frozen=True, slots=True)
class Phone:
    """The recording device, from microphone to decoded samples (codec apart)."""

    rate: int = 48_000
    channels: int = 1
    low_hz: float | None = None  # high-pass corner
    high_hz: float | None = None  # low-pass corner
    high_order: int = 2  # ... and its order: microphone, its port and the converter together
    resonance_hz: float | None = None
    resonance_db: float = 0.0
    agc_db: float = 0.0  # how far the automatic gain may move
    limit: bool = False  # soft limiter
    gain_db: float = -6.0  # where the loudest stroke peaks before limiter and ceiling
    dead_channel: bool = False
    clock_ppm: float = 0.0  # file time runs this much longer than click time


PLAIN = Phone()


@dataclass(frozen=True, slots=True)
class Marks:
    """Sync marks that the phone hears."""

    start: bool = True
    end: bool = True
    level_db: float = -6.0
    noise_over_db: float | None = None  # white noise over the marks only, RMS relative to the marks' RMS


@dataclass(frozen=True, slots=True)
class Leak:
    """A click that the phone hears. sound "ours", "beep", "woodblock"; path "headphones", "speaker", "direct"."""

    level_db: float = -20.0
    sound: str = "ours"
    path: str = "headphones"
    count_off_only: bool = False
    latency_s: float = 0.0
    marks: bool = False  # our click leaks together with its sync marks, as loud against it as in its file


@dataclass(frozen=True, slots=True)
class Faults:
    """What goes wrong. Every default is "nothing"."""

    tempo_ratio: float = 1.0  # 1.05: played five per cent too fast
    drift: float = 0.0  # relative tempo change from first to last bar
    other_part: Part | None = None
    stop_share: float | None = None  # stops after this share of the part
    late_bars: int = 0  # starts this many bars after zero
    spoiled_bars: tuple[int, ...] = ()  # indices into Part.bars played wrong
    dropped_s: tuple[tuple[float, float], ...] = ()  # stretches of file time cut out of the recording
    looped_bar: int | None = None  # one bar recorded once and pasted for all the others
    silent: bool = False
    quiet_db: float = 0.0  # whole recording turned down
    loose_ms: float | None = None  # spread instead of the skill's


@dataclass(frozen=True)
class TakeSpec:
    """All that decides a made take, together with its part and its seed."""

    kit: AnyKit = FIELD
    skill: Skill = INTERMEDIATE
    room: Room = field(default_factory=Room)
    noise: Noise = field(default_factory=Noise)
    phone: Phone = PLAIN
    codec: str = "none"  # "none", "aac-64", "aac-128", "opus-64" ...
    marks: Marks | None = None
    leak: Leak | None = None
    count_off: str = "none"  # "none", "sticks", "voice"
    count_off_bars: int = 2
    before_s: float | None = None  # recording starts this long before zero; None: two seconds before all that sounds
    after_s: float = 1.5  # runs on after the last bar (or end marks)
    bpm: float | None = None  # the click's tempo where it is not the performance tempo
    talk: int = 0  # spoken stretches before and after
    talk_over: int = 0  # spoken stretches over the playing
    thumps: int = 0  # phone handled before and after
    false_start_bars: int = 0  # first go breaks off after so many bars
    bleed: Part | None = None  # somebody next door plays this
    bleed_db: float = -18.0
    faults: Faults = field(default_factory=Faults)
