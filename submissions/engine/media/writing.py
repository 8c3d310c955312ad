"""Media of our own making: WAV, M4A and films. Never fed with anything from an upload's name."""

import os
import wave
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from ..facts import Sound

MOVIE_SCALE = 90_000  # ticks a second for explicit frame times: MPEG's own clock, finer than any phone's
AUDIO_CHUNK = 1024  # samples handed over at a time, so that sound and picture stay interleaved


def write_wav(path: Path | str, sound: Sound) -> None:
    """16-bit PCM at the sound's own rate and channels; above full scale is clipped, as a recorder would."""
    pcm = np.round(np.clip(sound.samples, -1.0, 1.0) * 32767.0).astype("<i2")
    with wave.open(str(path), "wb") as out:
        out.setnchannels(sound.samples.shape[1])
        out.setsampwidth(2)
        out.setframerate(sound.rate)
        out.writeframes(pcm.tobytes())


def write_aac(path: Path | str, sound: Sound, bit_rate: int = 128_000) -> None:
    """AAC in an MP4 (.m4a) whose edit list hides the priming: decoded, it starts at the same sample."""
    with av.open(str(path), "w", format="ipod") as out:
        stream = sound_out(out, "aac", sound, bit_rate)
        for frame in sound_frames(stream, sound, 0.0):
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def write_film(
    path: Path | str,
    frames: Iterable[NDArray[np.uint8]],
    *,
    fps: Fraction | float = 30,
    times_s: Sequence[float] | None = None,
    sound: Sound | None = None,
    video_codec: str = "",
    audio_codec: str = "",
    rotation: int = 0,
    sound_starts_s: float = 0.0,
    picture_starts_s: float = 0.0,
    crf: int = 26,
    key_every_s: float = 1.0,
    audio_bit_rate: int = 128_000,
    pixel_format: str = "yuv420p",
    options: dict[str, str] | None = None,
    container_options: dict[str, str] | None = None,
) -> None:
    """A film of the given frames and sound; the container follows the name (.mp4, .mov, .mkv, .webm ...).

    frames: (h, w) gray or (h, w, 3) RGB, uint8, all of one size. times_s: presentation times, rising, one a frame
    (variable rate); else a constant fps. rotation: degrees clockwise to show it right. sound_starts_s: container
    time of the first sample (negative values cut the sound's head off; with a positive one AAC's priming stays audible in
    MP4 as 1024 samples of silence in front). picture_starts_s: container time of the first frame. Codecs default to H.264 and AAC, in WebM to
    VP9 and Opus.
    """
    name = str(path)
    webm = name.lower().endswith(".webm")
    frames = iter(frames)
    first = next(frames)
    rate = Fraction(fps).limit_denominator(1001)
    with ordinary_priority(), av.open(name, "w", container_options=container_options or {}) as out:
        video: Any = out.add_stream(video_codec or ("libvpx-vp9" if webm else "libx264"), rate=rate)
        video.height, video.width = first.shape[:2]
        video.pix_fmt = pixel_format
        base = Fraction(1, MOVIE_SCALE) if times_s is not None else 1 / rate
        video.codec_context.time_base = base
        video.codec_context.gop_size = max(1, round(key_every_s * float(rate)))
        video.options = _speed(video.codec_context.name, crf) | (options or {})
        if rotation:
            video.set_display_rotation(-rotation % 360)
        audio = None
        if sound is not None:
            audio = sound_out(out, audio_codec or ("libopus" if webm else "aac"), sound, audio_bit_rate)
        _mux(out, video, _pictures(first, frames, times_s, base, picture_starts_s), audio, sound, sound_starts_s)


@contextmanager
def ordinary_priority() -> Iterator[None]:
    """Leave this thread's scheduling as it was.

    SVT-AV1, run by root, gives its caller real-time priority and leaves it there. Every process started from it
    later inherits that: programs that wait by yielding then spin without an end, and everything else starves.
    """
    if not hasattr(os, "sched_getscheduler"):  # pragma: no cover, only Linux has it
        yield
        return
    policy, priority = os.sched_getscheduler(0), os.sched_getparam(0)
    try:
        yield
    finally:
        if os.sched_getscheduler(0) != policy:
            os.sched_setscheduler(0, policy, priority)


def _speed(codec: str, crf: int) -> dict[str, str]:
    """Fast settings: this is test and preview material, not an archive."""
    if "vp9" in codec or "vpx" in codec:
        return {"crf": str(crf + 8), "b": "0", "deadline": "realtime", "cpu-used": "8"}
    if "264" in codec:
        return {"crf": str(crf), "preset": "veryfast"}
    if "265" in codec or "hevc" in codec:
        return {"crf": str(crf), "preset": "ultrafast", "x265-params": "log-level=error"}
    if "svtav1" in codec:
        return {"crf": str(crf + 8), "preset": "12"}
    return {}


def _pictures(first: Any, rest: Any, times_s: Sequence[float] | None, base: Fraction, starts_s: float) -> Any:
    def all_of_them() -> Any:
        yield first
        yield from rest

    for index, picture in enumerate(all_of_them()):
        frame = av.VideoFrame.from_ndarray(
            np.ascontiguousarray(picture), format="gray" if picture.ndim == 2 else "rgb24"
        )
        at = index * base if times_s is None else times_s[index]
        frame.pts = round((at + Fraction(starts_s)) / base) if times_s is None else round((at + starts_s) / base)
        frame.time_base = base
        yield frame


def sound_out(out: Any, codec: str, sound: Sound, bit_rate: int) -> Any:
    stream = out.add_stream(codec, rate=sound.rate)
    stream.codec_context.layout = "mono" if sound.samples.shape[1] == 1 else "stereo"
    if not codec.startswith("pcm"):
        stream.codec_context.bit_rate = bit_rate
    return stream


def sound_frames(stream: Any, sound: Sound, starts_s: float) -> Any:
    samples = sound.samples
    start = round(starts_s * sound.rate)
    if start < 0:
        samples, start = samples[-start:], 0
    channels = samples.shape[1]
    layout = "mono" if channels == 1 else "stereo"
    for at in range(0, len(samples), AUDIO_CHUNK):
        chunk = np.ascontiguousarray(samples[at : at + AUDIO_CHUNK, :2], dtype=np.float32).reshape(1, -1)
        frame = av.AudioFrame.from_ndarray(chunk, format="flt", layout=layout)
        frame.sample_rate = sound.rate
        frame.time_base = Fraction(1, sound.rate)
        frame.pts = start + at
        yield frame


def _mux(out: Any, video: Any, pictures: Any, audio: Any, sound: Sound | None, starts_s: float) -> None:
    chunks = sound_frames(audio, sound, starts_s) if sound is not None else iter(())
    waiting = next(chunks, None)
    for picture in pictures:
        while waiting is not None and waiting.time <= picture.time:
            out.mux(audio.encode(waiting))
            waiting = next(chunks, None)
        out.mux(video.encode(picture))
    while waiting is not None:
        out.mux(audio.encode(waiting))
        waiting = next(chunks, None)
    out.mux(video.encode(None))
    if audio is not None:
        out.mux(audio.encode(None))
