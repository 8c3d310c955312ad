"""AAC of sound that is mostly silence, such as a click: stretches that sound are encoded, silence is one packet repeated.

Conventions: an AAC packet covers its own 1024 samples and the 1024 before (the transform's overlap), so a packet whose
2048 samples are all zero is the same packet wherever it stands, and decoding does not depend on how it came there.
"""

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from ..facts import Sound

FRAME = 1024  # samples of an AAC packet (ISO/IEC 14496-3)
# Measured against the encoder's defaults: clicks 18 dB nearer the original at half the cost; a guide of 64 kb/s stays
# 38 dB above its coding noise at a third of the cost. Noise substitution and joint stereo gain nothing on strokes.
CODER = {"aac_coder": "fast", "aac_tns": "0", "aac_pns": "0", "aac_is": "0", "aac_ms": "0"}
KEEP = 3  # silent frames encoded on either side of a sound: the encoder looks one ahead, its windows change over two


def write_sparse_aac(path: Path | str, sound: Sound, bit_rate: int = 64_000) -> None:
    """As write_aac, in a quarter of the time or less where most of the sound is exact silence; one or two channels."""
    samples = np.ascontiguousarray(sound.samples.T[:2], dtype=np.float32)
    frames = -(-samples.shape[1] // FRAME)
    kept = _kept(samples, frames)
    with av.open(str(path), "w", format="ipod") as out:
        stream: Any = out.add_stream("aac", rate=sound.rate)
        stream.codec_context.layout = _layout(samples)
        stream.codec_context.bit_rate = bit_rate
        stream.codec_context.options = CODER
        packets = _encode(stream, samples, sound.rate, kept)
        silence = _silent_packet(packets, kept)
        base = Fraction(1, sound.rate)
        # The first packet holds the priming before sample 0; packet k + 1 completes frame k.
        at_frame = {0: packets[0]} | {int(k) + 1: p for k, p in zip(kept, packets[1:], strict=True)}
        for index in range(frames + 1):
            packet = at_frame.get(index)
            if packet is None:
                packet = av.Packet(silence)
                packet.stream = stream
                packet.time_base = base
                packet.duration = FRAME
                packet.is_keyframe = True
            packet.pts = packet.dts = (index - 1) * FRAME
            out.mux(packet)


def _kept(samples: NDArray[np.float32], frames: int) -> NDArray[np.int64]:
    """Frames to encode: those that sound, KEEP silent ones around each, and both ends."""
    padded = np.zeros((len(samples), frames * FRAME), np.float32)
    padded[:, : samples.shape[1]] = samples
    sounds: NDArray[np.bool_] = np.any(padded.reshape(len(samples), frames, FRAME), axis=(0, 2))
    sounds[:KEEP] = True
    sounds[-KEEP:] = True
    near = np.convolve(sounds, np.ones(2 * KEEP + 1))[KEEP : KEEP + frames] > 0.5
    kept: NDArray[np.int64] = np.flatnonzero(near)
    return kept


def _encode(stream: Any, samples: NDArray[np.float32], rate: int, kept: NDArray[np.int64]) -> list[Any]:
    packets: list[Any] = []
    for place, index in enumerate(kept):
        chunk = np.ascontiguousarray(samples[:, index * FRAME : (index + 1) * FRAME])
        frame = av.AudioFrame.from_ndarray(chunk, format="fltp", layout=_layout(samples))
        frame.sample_rate = rate
        frame.time_base = Fraction(1, rate)
        frame.pts = place * FRAME
        packets += stream.encode(frame)
    packets += stream.encode(None)
    return packets


def _layout(samples: NDArray[np.float32]) -> str:
    return "mono" if len(samples) == 1 else "stereo"


def _silent_packet(packets: list[Any], kept: NDArray[np.int64]) -> bytes:
    """The packet in the middle of the first gap's kept silence, whose whole window is zero."""
    gaps = np.flatnonzero(np.diff(kept) > 1)
    return bytes(packets[int(gaps[0]) + 1]) if len(gaps) else b""
