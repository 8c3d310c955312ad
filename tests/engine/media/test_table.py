"""Facts of more than sixty files made on the spot, beside what PyAV's and ffmpeg's own full decode say."""

import subprocess

import av
import imageio_ffmpeg
import numpy as np
import pytest

from submissions.engine.errors import MediaError
from submissions.engine.media import read_take

from .films import CLICKS_S, Film

RATES = (24000 / 1001, 24, 25, 30000 / 1001, 30, 50, 60000 / 1001, 60, 100, 120)


def films():
    yield from (Film(f"plain.{kind}") for kind in ("mp4", "mov", "mkv", "3gp"))
    yield Film("plain.webm", seconds=1.5)
    yield from (Film(f"rate{n}.mp4", fps=fps) for n, fps in enumerate(RATES))
    yield from (Film(f"rate{n}.mkv", fps=fps) for n, fps in enumerate(RATES))
    yield from (Film(f"uneven.{kind}", uneven=True) for kind in ("mp4", "mov", "mkv"))
    yield Film("uneven.webm", uneven=True, seconds=1.5)
    yield from (
        Film(f"turned{d}.{kind}", options={"rotation": d}) for d in (0, 90, 180, 270) for kind in ("mp4", "mov")
    )
    yield from (Film(f"hevc.{kind}", options={"video_codec": "libx265"}) for kind in ("mp4", "mov", "mkv"))
    yield from (Film(f"av1.{kind}", options={"video_codec": "libsvtav1"}) for kind in ("mp4", "mkv", "webm"))
    yield from (Film(f"opus.{kind}", options={"audio_codec": "libopus"}) for kind in ("mp4", "mkv"))
    yield from (Film(f"mp3.{kind}", options={"audio_codec": "libmp3lame"}) for kind in ("mp4", "mov"))
    yield from (Film(f"pcm.{kind}", options={"audio_codec": "pcm_s16le"}) for kind in ("mov", "mkv"))
    yield from (
        Film(f"late{n}.{kind}", options={"sound_starts_s": s})
        for n, s in enumerate((0.04, 0.5))
        for kind in ("mp4", "mkv")
    )
    yield from (Film(f"early.{kind}", options={"picture_starts_s": 0.3}) for kind in ("mp4", "mov", "mkv"))
    yield from (Film(f"cd{c}.{kind}", rate=44_100, channels=c) for c in (1, 2) for kind in ("mp4", "mov"))
    yield Film("phone.3gp", rate=16_000)
    yield Film("mute.mp4", sound=False)
    yield Film("live.webm", seconds=1.5, options={"container_options": {"live": "1"}})
    yield Film("pieces.mp4", options={"container_options": {"movflags": "frag_keyframe+empty_moov"}})
    yield Film("front.mp4", options={"container_options": {"movflags": "faststart"}})
    yield from (
        Film(f"odd{w}x{h}.mkv", width=w, height=h, options={"video_codec": "mpeg4"}) for w, h in ((161, 91), (33, 35))
    )
    yield Film("4k.mp4", width=3840, height=2160, seconds=0.4)
    yield Film("ten.mp4", options={"video_codec": "libx265", "pixel_format": "yuv420p10le"})


FILMS = tuple(films())


def by_full_decode(path):
    """(frame times, picture size, samples per channel) by PyAV without any of our code."""
    with av.open(str(path)) as container:
        video = list(container.decode(video=0))
    times = np.array([frame.pts * float(frame.time_base) for frame in video])
    return times, video[0]


def by_ffmpeg(path):
    """What `ffmpeg -i F -vn` gives, shape (n, channels)."""
    with av.open(str(path)) as container:
        channels = container.streams.audio[0].codec_context.channels
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path), "-vn", "-f", "f32le", "-"]
    raw = subprocess.run(command, capture_output=True, check=True).stdout
    return np.frombuffer(raw, "<f4").reshape(-1, channels)


class TestTheTable:
    def test_holds_at_least_sixty_files(self):
        assert len({film.name for film in FILMS}) == len(FILMS) >= 60

    @pytest.mark.parametrize("film", FILMS, ids=lambda film: film.name)
    def test_facts_equal_a_full_decode(self, film, tmp_path):
        path = film.write(tmp_path)
        raw, (times, first) = read_take(path), by_full_decode(path)
        facts = raw.container
        assert facts.frames == len(times)
        assert facts.picture_start_s == pytest.approx(times[0], abs=1e-6)
        assert facts.fps == pytest.approx((len(times) - 1) / (times[-1] - times[0]), rel=2e-3)
        assert facts.largest_gap_s == pytest.approx(np.diff(times).max(), abs=1e-6)
        assert facts.variable_fps is film.uneven
        turned = round(-first.rotation) % 360
        assert facts.rotation == turned == film.options.get("rotation", 0)
        shown = (first.width, first.height) if turned % 180 == 0 else (first.height, first.width)
        assert (facts.width, facts.height) == shown
        if film.sound:
            heard = by_ffmpeg(path)
            both = min(len(heard), len(raw.sound.samples))
            assert np.abs(raw.sound.samples[:both] - heard[:both]).max() < 2e-4
            # Versions of ffmpeg differ in whether the encoder's padding after the last sample is kept: one packet.
            assert abs(len(heard) - len(raw.sound.samples)) <= 1152
            assert facts.sound_duration_s == pytest.approx(len(raw.sound.samples) / raw.sound.rate, abs=1e-6)
            assert (facts.sample_rate, facts.channels) == (raw.sound.rate, film.channels)
        else:
            assert raw.sound is None and not facts.has_sound

    # A file written in pieces has no edit list: its writer really moves the picture, by the depth of its B pictures.
    @pytest.mark.parametrize(
        "film",
        [f for f in FILMS if f.sound and f.rate == 48_000 and f.name != "pieces.mp4"],
        ids=lambda film: film.name,
    )
    def test_what_is_seen_with_a_click_does_not_depend_on_the_container(self, film, tmp_path):
        """The file time of each click and the container's starts put it where it was written, to a millisecond."""
        raw = read_take(film.write(tmp_path))
        facts, rate = raw.container, raw.sound.rate
        starts = film.options.get("sound_starts_s", 0.0) - film.options.get("picture_starts_s", 0.0)
        for at in [at for at in CLICKS_S if at < film.seconds - 0.1]:
            around = facts.picture_start_s + at + starts - facts.sound_start_s
            piece = np.abs(raw.sound.mono[max(0, round((around - 0.05) * rate)) : round((around + 0.05) * rate)])
            found = (round((around - 0.05) * rate) + int(np.argmax(piece > 0.5 * piece.max()))) / rate
            assert found == pytest.approx(around, abs=0.0015)


class TestOtherContainers:
    @pytest.mark.parametrize("kind", ["avi", "ts", "ogg", "flv"])
    def test_are_refused_with_a_sentence(self, kind, tmp_path):
        codecs = {"video_codec": "mpeg4", "audio_codec": "libmp3lame"} if kind in ("avi", "flv") else {}
        if kind == "ogg":
            codecs = {"video_codec": "libvpx", "audio_codec": "libopus"}
        if kind == "flv":
            codecs = {"video_codec": "flv", "audio_codec": "libmp3lame"}
        film = Film(f"film.{kind}", rate=48_000 if kind != "flv" else 44_100, options=codecs)
        with pytest.raises(MediaError, match="not a video that can be read here"):
            read_take(film.write(tmp_path))


class TestACutOffFile:
    @pytest.mark.parametrize("share", [0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95])
    @pytest.mark.parametrize("kind", ["mp4", "mkv"])
    def test_says_so_or_cannot_be_read(self, share, kind, tmp_path):
        front = {"container_options": {"movflags": "faststart"}} if kind == "mp4" else {}
        whole = Film(f"whole.{kind}", seconds=4.0, options=front).write(tmp_path)
        cut = tmp_path / f"cut.{kind}"
        cut.write_bytes(whole.read_bytes()[: int(share * whole.stat().st_size)])
        try:
            raw = read_take(cut)
        except MediaError as error:
            assert str(error)
            return
        with av.open(str(cut)) as container:
            packets = sum(1 for packet in container.demux(video=0) if packet.size)
        assert raw.container.cut_off
        assert raw.container.duration_s < 4.0
        assert raw.container.frames == packets
