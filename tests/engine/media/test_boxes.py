"""The structure of a file is read from its first bytes, whatever lengths they claim."""

import pytest

from submissions.engine.media.boxes import structure_of

EBML = bytes.fromhex("1a45dfa3")
FURTHEST = bytes.fromhex("01fffffffffffffe")  # the longest length that Matroska can write: 2**56 - 2


def structure(path, data):
    path.write_bytes(data)
    with path.open("rb", buffering=0) as file:
        return structure_of(file, len(data))


class TestALengthThatLeadsOutOfTheFile:
    @pytest.mark.parametrize("kind", [b"\x42\x82\x84webm", b"\x42\x82\x88matroska"])
    def test_is_not_followed_in_matroska(self, kind, tmp_path):
        """A file system refuses to go so far; the reader must not even ask."""
        found = structure(tmp_path / "take", EBML + FURTHEST + kind + bytes(100))
        assert found.brand in ("webm", "mkv") and not found.cut_off

    def test_is_a_cut_in_an_mp4(self, tmp_path):
        head = (24).to_bytes(4, "big") + b"ftypisom" + bytes(12)
        assert structure(tmp_path / "take", head + b"\x00\x00\x00\x01mdat" + b"\x7f" * 8 + bytes(50)).cut_off
