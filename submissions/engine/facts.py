"""What was measured of a take: frozen values, one group a room. Facts never judge; checks do.

Conventions: `_s` seconds of file time (sample 0 of the decoded sound is 0 s) unless the name says otherwise;
`late_ms` is played minus written, late is positive; levels in dB relative to full scale unless said.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Span:
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Sound:
    """Decoded sound: samples has shape (n, channels), float32, full scale 1.0."""

    samples: Samples
    rate: int

    @property
    def mono(self) -> Samples:
        """Mean of the channels, shape (n,)."""
        channels = self.samples.shape[1]
        # Adding whole channels is ten times as fast as the mean of every pair.
        mixed: Samples = self.samples[:, 0].astype(np.float32)
        for n in range(1, channels):
            mixed += self.samples[:, n]
        return mixed if channels == 1 else mixed * np.float32(1 / channels)

    @property
    def duration_s(self) -> float:
        return len(self.samples) / self.rate


@dataclass(frozen=True, slots=True)
class ContainerFacts:
    """What the file is, from packets rather than from headers. None: there is no such stream, or it does not say."""

    kind: str = ""  # "mp4", "mov", "mkv", "webm"
    bytes: int = 0
    duration_s: float = 0.0
    has_sound: bool = False
    has_picture: bool = False
    width: int | None = None  # as shown, after rotation
    height: int | None = None
    rotation: int | None = None  # degrees, 0, 90, 180, 270
    fps: float | None = None  # frames divided by time, from packets
    variable_fps: bool | None = None
    largest_gap_s: float | None = None  # longest time between two frames
    largest_gap_at_s: float | None = None
    frames: int = 0
    video_codec: str | None = None
    audio_codec: str | None = None
    bit_rate: int | None = None
    sample_rate: int | None = None
    channels: int | None = None
    sound_start_s: float | None = None  # presentation time of the first decoded sample, container clock
    picture_start_s: float | None = None
    sound_duration_s: float | None = None
    picture_duration_s: float | None = None
    pixel_aspect: float | None = None
    interlaced: bool = False
    hdr: bool = False
    priming_samples: int = 0
    edit_list: bool = False
    header_duration_s: float | None = None
    cut_off: bool = False  # the file ends in the middle
    dropped: tuple[Span, ...] = ()  # stretches without packets
    sound_jumps: tuple[tuple[float, float], ...] = ()  # (file time, seconds the container clock leaps ahead there)


@dataclass(frozen=True, slots=True)
class LevelFacts:
    lufs: float | None = None  # integrated, BS.1770
    peak_db: float = -120.0
    true_peak_db: float = -120.0
    clipped_share: float = 0.0  # share of strokes whose top is cut off
    clipped_at_s: tuple[float, ...] = ()
    clipped_sure: bool = True  # a limiter does not make such tops
    noise_db: float = -120.0
    strokes_over_noise_db: float = 0.0
    hum_db: float = -120.0
    silent: bool = False
    dead_channel: bool = False
    pumping_db: float = 0.0  # how far the noise comes up in the pauses against the playing: automatic gain
    click_under_drums_db: float | None = None  # None: no click heard; 20 = the click is 20 dB under the drums
    wind: bool = False
    talk_s: float = 0.0  # speech over the playing: so much of the two and a half seconds that hold most of it ...
    talk_at_s: float | None = None  # ... and its middle, file time


@dataclass(frozen=True, slots=True)
class ZeroFacts:
    """Where bar 1 begins, how that was found, and how sure it is."""

    zero_s: float | None = None
    source: str = "none"  # marks, click, count-off, written, none
    sd_s: float | None = None
    clock_ratio: float = 1.0  # seconds of file time per second of click time
    clock_known: bool = False
    runner_up_s: float | None = None  # the next best zero by another hypothesis
    runner_up_share: float = 0.0  # its support relative to the winner, 0..1
    tempo_ratio: float = 1.0  # played tempo over written tempo, by the written strokes
    marks_start_s: float | None = None
    marks_end_s: float | None = None
    count_off_bars: int = 0
    late_bars: int = 0  # whole bars between where bar 1 is due and where the playing began
    sure: bool = False
    # Where the player leaves the click: (written time, seconds behind the click) at knots, straight between them and
    # level outside; empty for one who stays, or who keeps one other tempo (tempo_ratio).
    path: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class PlayedStroke:
    """A written stroke and what was heard of it; played_s is None when it was missed."""

    index: int  # into Part.strokes
    bar: int
    count: str
    kind: str
    written_s: float  # from zero, click time
    played_s: float | None
    late_ms: float | None
    level_db: float | None = None


@dataclass(frozen=True, slots=True)
class StrokeFacts:
    strokes: tuple[PlayedStroke, ...] = ()
    extra_s: tuple[float, ...] = ()  # heard and not written
    heard_s: tuple[float, ...] = ()  # every drum stroke heard, leaked clicks left out
    written: int = 0
    matched: int = 0
    missed: int = 0
    explained_share: float = 0.0  # share of heard strokes that the part explains
    clear_found_share: float = 1.0  # share of the loud written strokes with time before them that were found
    clear_explained_share: float = 1.0  # share of the loud sharp strokes heard that the part explains


@dataclass(frozen=True, slots=True)
class TimingFacts:
    bias_ms: float | None = None  # None where zero came from the strokes themselves
    spread_ms: float | None = None  # about the player's own path or tempo, where they have one
    click_spread_ms: float | None = None  # about the click, whatever the player's own path; far strokes and strays count
    drift_ppm: float | None = None
    tempo_ratio: float | None = None
    by_bar: tuple[tuple[int, float, float, int], ...] = ()  # bar, mean late_ms, spread ms, strokes
    by_count: tuple[tuple[str, float, float, int], ...] = ()
    by_hand: tuple[tuple[str, float, float, int], ...] = ()
    worst_bars: tuple[int, ...] = ()  # the two to practise
    best_bars: tuple[int, ...] = ()
    by_drum: tuple[tuple[str, float, float, int], ...] = ()
    diddle_ms: float | None = None  # spread of the distance from a stroke to its diddle, against the written one
    flam_ms: float | None = None  # mean gap from grace to stroke
    flam_spread_ms: float | None = None
    curve_ms: tuple[tuple[float, float], ...] = ()  # seconds from zero, mean late_ms around them
    beyond_chance: float | None = None  # share of the page found over what chance finds; None where zero is sure and the tempo the click's
    # The same at the click's tempo, or the share of what was heard that it explains if less; only where the click is known and
    # the strokes chose another tempo.
    click_beyond_chance: float | None = None


@dataclass(frozen=True, slots=True)
class PictureFacts:
    black_share: float = 0.0
    dark: bool = False
    mean_luma: float | None = None  # 0..255
    frozen: tuple[Span, ...] = ()
    still: bool = False
    sharpness: float | None = None
    letterboxed: bool = False
    shaking: bool = False
    covered: bool = False


@dataclass(frozen=True, slots=True)
class MotionFacts:
    """Sound against picture: positive = the sound is late."""

    sound_late_ms: float | None = None  # None: cannot be told
    sd_ms: float | None = None
    beyond_ms: float | None = None  # only where it cannot be told: it is surely at least so far away, on this side


@dataclass(frozen=True, slots=True)
class TakeFacts:
    """Everything measured of one take. A group that could not be measured keeps its defaults."""

    container: ContainerFacts = field(default_factory=ContainerFacts)
    level: LevelFacts = field(default_factory=LevelFacts)
    zero: ZeroFacts = field(default_factory=ZeroFacts)
    strokes: StrokeFacts = field(default_factory=StrokeFacts)
    timing: TimingFacts = field(default_factory=TimingFacts)
    picture: PictureFacts = field(default_factory=PictureFacts)
    motion: MotionFacts = field(default_factory=MotionFacts)
    unreadable: str | None = None  # why, as a sentence
    copy_of: str | None = None  # the words for another take of the same call that this one is a copy of
