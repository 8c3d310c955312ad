"""Made films are what they say when they are read back."""

from dataclasses import replace

import numpy as np
import pytest

from submissions.engine.errors import MediaError
from submissions.engine.media import read_container, read_sound
from submissions.engine.rehearsal.film import FilmSpec, film_of_text, make_film
from submissions.engine.rehearsal.picture import PictureSpec
from submissions.engine.rehearsal.spec import TakeSpec
from submissions.engine.rehearsal.take import make_take

from .plain import small_part

SMALL = FilmSpec(picture=PictureSpec(width=214, height=120))


@pytest.fixture(scope="module")
def take():
    return make_take(small_part(bars=2), TakeSpec(), 31)


def written(take, tmp_path, **changes):
    spec = replace(SMALL, **changes)
    path = tmp_path / f"film{spec.suffix}"
    make_film(take, spec, path)
    return path


class TestAFilm:
    @pytest.mark.parametrize(
        ("suffix", "codecs"), [(".mp4", ("h264", "aac")), (".mov", ("h264", "aac")), (".webm", ("vp9", "opus"))]
    )
    def test_holds_what_its_container_usually_holds(self, take, tmp_path, suffix, codecs):
        facts = read_container(written(take, tmp_path, suffix=suffix))
        assert (facts.video_codec, facts.audio_codec) == codecs
        assert facts.fps == pytest.approx(30, abs=0.1)

    @pytest.mark.parametrize("suffix", [".mp4", ".mov", ".webm"])
    def test_keeps_its_sound_where_it_was(self, take, tmp_path, suffix):
        sound = read_sound(written(take, tmp_path, suffix=suffix))
        n = min(len(sound.samples), len(take.sound.samples))
        spectrum = np.fft.rfft(sound.mono[:n], 2 * n) * np.conj(np.fft.rfft(take.sound.mono[:n], 2 * n))
        lag = int(np.argmax(np.fft.irfft(spectrum)))
        assert min(lag, 2 * n - lag) <= 4

    def test_is_upright_after_its_rotation(self, take, tmp_path):
        facts = read_container(written(take, tmp_path, suffix=".mov", rotation=90))
        assert (facts.rotation, facts.width, facts.height) == (90, 214, 120)

    def test_may_have_no_sound_or_no_picture(self, take, tmp_path):
        assert not read_container(written(take, tmp_path, sound=False)).has_sound
        bare = read_container(written(take, tmp_path, picture=None))
        assert bare.has_sound and not bare.has_picture

    def test_may_be_uneven_in_time(self, take, tmp_path):
        uneven = replace(SMALL.picture, uneven=True)
        assert read_container(written(take, tmp_path, picture=uneven)).variable_fps

    def test_may_break_off(self, take, tmp_path):
        assert read_container(written(take, tmp_path, cut_share=0.5)).cut_off

    def test_of_text_cannot_be_read(self, tmp_path):
        film_of_text(tmp_path / "film.mp4")
        with pytest.raises(MediaError):
            read_container(tmp_path / "film.mp4")
