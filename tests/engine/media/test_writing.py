"""What writing a film must leave as it was."""

import os

import numpy as np
import pytest

from submissions.engine.media.writing import write_film


@pytest.mark.parametrize("codec", ["libsvtav1", "libx265", "libx264"])
def test_writing_a_film_leaves_the_scheduling_as_it_was(codec, tmp_path):
    before = os.sched_getscheduler(0)
    write_film(tmp_path / "film.mp4", [np.zeros((64, 96), np.uint8)] * 5, video_codec=codec)
    after = os.sched_getscheduler(0)
    os.sched_setscheduler(0, before, os.sched_param(0))  # a failure here must not starve the tests that follow
    assert after == before
