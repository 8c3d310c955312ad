"""What a container's own structure says, read without a demuxer: cut off in the middle, edit lists that cut or shift.

ISO base media boxes (ISO/IEC 14496-12: 32-bit size, 4-character type, 64-bit size when size is 1, size 0 = to the end of
the file) and EBML elements (RFC 8794: variable-length id and size; all size bits set = unknown, as live recorders write).
Reading is bounded: a hostile file costs a few thousand small reads at most.
"""

import struct
from dataclasses import dataclass
from typing import BinaryIO

MAX_BOXES = 4_096  # a long fragmented take has some hundreds at the top
MAX_ELST = 64  # entries looked at
_NESTS = {b"moov", b"trak", b"edts"}
_SEGMENT = 0x18538067


@dataclass(frozen=True, slots=True)
class Structure:
    brand: str  # "mp4", "mov", "3gp", "mkv", "webm" or "" when it is none of them
    cut_off: bool
    edits: bool  # an edit list that does more than play all of the medium from its start


def structure_of(file: BinaryIO, size: int) -> Structure:
    """The structure of an open file of the given size; the file's position is left at its start."""
    file.seek(0)
    head = file.read(64)
    brand = brand_of(head)
    if brand in ("mkv", "webm"):
        found = Structure(brand, _matroska_cut_off(file, size), False)
    elif brand:
        walk = _Walk(file)
        walk.level(0, size, top=True)
        found = Structure(brand, walk.cut_off, walk.edits)
    else:
        found = Structure("", False, False)
    file.seek(0)
    return found


def brand_of(head: bytes) -> str:
    """Which container the first 64 bytes begin, by its magic; "" when it is none that is read here."""
    if head[:4] == b"\x1a\x45\xdf\xa3":
        return "webm" if b"webm" in head else "mkv" if b"matroska" in head else ""
    kind = head[4:8]
    if kind == b"ftyp":
        major = head[8:12]
        return "mov" if major == b"qt  " else "3gp" if major[:3] in (b"3gp", b"3g2") else "mp4"
    return "mov" if kind in (b"moov", b"wide", b"mdat", b"free", b"skip", b"pnot") else ""


class _Walk:
    def __init__(self, file: BinaryIO) -> None:
        self.file, self.boxes, self.cut_off, self.edits = file, 0, False, False

    def level(self, at: int, end: int, top: bool = False) -> None:
        while at + 8 <= end and self.boxes < MAX_BOXES:
            self.boxes += 1
            self.file.seek(at)
            head = self.file.read(16)
            if len(head) < 8:
                return
            size, kind = struct.unpack(">I4s", head[:8])
            body = 8
            if size == 1 and len(head) == 16:
                size, body = struct.unpack(">Q", head[8:])[0], 16
            if size == 0:
                size = end - at
            if size < body:
                return
            if top and at + size > end:
                self.cut_off = True
            if kind in _NESTS:
                self.level(at + body, min(at + size, end))
            elif kind == b"elst":
                self._edit_list(at + body)
            at += size
        if top and 0 < end - at < 8:
            self.cut_off = True

    def _edit_list(self, at: int) -> None:
        self.file.seek(at)
        head = self.file.read(8)
        if len(head) < 8:
            return
        wide = head[0] == 1
        count = min(struct.unpack(">I", head[4:])[0], MAX_ELST)
        entry = struct.Struct(">Qqi" if wide else ">Iii")
        for _ in range(count):
            raw = self.file.read(entry.size)
            if len(raw) < entry.size:
                return
            if count > 1 or entry.unpack(raw)[1] != 0:
                self.edits = True


def _matroska_cut_off(file: BinaryIO, size: int) -> bool:
    at = 0
    for _ in range(8):
        file.seek(at)
        head = file.read(16)
        if len(head) < 2:
            return False
        identity, id_length = _vint(head, keep_marker=True)
        length, length_length = _vint(head[id_length:], keep_marker=False)
        if not id_length or not length_length:
            return False
        body = at + id_length + length_length
        if identity == _SEGMENT:
            return length >= 0 and body + length > size
        if length < 0 or body + length > size:
            return False  # a length that leads out of the file leads nowhere: some are further than a file can reach
        at = body + length
    return False


def _vint(raw: bytes, keep_marker: bool) -> tuple[int, int]:
    """(value, bytes used); (0, 0) when there is none; value -1 for an unknown size."""
    if not raw or raw[0] == 0:
        return 0, 0
    used = 9 - raw[0].bit_length()
    if len(raw) < used:
        return 0, 0
    value = int.from_bytes(raw[:used], "big")
    if keep_marker:
        return value, used
    value &= (1 << (7 * used)) - 1
    return (-1 if value == (1 << (7 * used)) - 1 else value), used
