"""The general libraries beside which the ear is measured; they hear sound only, no part and no click.

librosa (ISC licence): onset strength with its default hop and with a fine one, and SuperFlux with the settings of
Böck and Widmer 2013 as librosa's own gallery gives them. madmom's networks are left out: its last release does not
build on this Python.
"""

from collections.abc import Callable

import librosa
import numpy as np
from numpy.typing import NDArray

Mono = NDArray[np.float32]
Detector = Callable[[Mono, int], list[float]]


def _onsets(hop: int) -> Detector:
    def detect(mono: Mono, rate: int) -> list[float]:
        times = librosa.onset.onset_detect(y=mono, sr=rate, hop_length=hop, units="time")
        return [float(at) for at in times]

    return detect


def superflux(mono: Mono, rate: int) -> list[float]:
    """SuperFlux: mel spectrogram of 138 bands, lag 2, maximum over 3 bands, hop 5 ms."""
    hop = round(0.005 * rate)
    spectrum = librosa.feature.melspectrogram(
        y=mono, sr=rate, n_fft=2048, hop_length=hop, fmin=27.5, fmax=16_000.0, n_mels=138
    )
    strength = librosa.onset.onset_strength(
        S=librosa.power_to_db(spectrum, ref=np.max), sr=rate, hop_length=hop, lag=2, max_size=3
    )
    return [
        float(at) for at in librosa.onset.onset_detect(onset_envelope=strength, sr=rate, hop_length=hop, units="time")
    ]


DETECTORS: dict[str, Detector] = {
    "librosa onset, hop 512": _onsets(512),
    "librosa onset, hop 64": _onsets(64),
    "SuperFlux (librosa)": superflux,
}
