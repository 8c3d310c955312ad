"""From untrusted bytes to a partwise tree, in bounded memory; everything unusable becomes a ScoreError.

Limits are chosen, not borrowed: a cadence of a hundred bars for five parts takes about 3 MB of MusicXML.
"""

import io
import zipfile
import zlib
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from ...errors import ScoreError
from .timewise import to_partwise

MAX_XML_BYTES = 24 * 2**20
MAX_ELEMENTS = 1_000_000
MAX_DEPTH = 40  # MusicXML itself needs about a dozen
MAX_ENTRIES = 2_000
CONTAINER = "META-INF/container.xml"


def open_tree(source: Path | str | bytes) -> Element:
    """The score-partwise element of a .musicxml, .xml or .mxl file (a str is a path)."""
    raw = source if isinstance(source, bytes) else _read_file(Path(source))
    if raw[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        raw = _unpack(raw)
    root = _parse(raw)
    if root.tag == "score-timewise":
        root = to_partwise(root)
    if root.tag != "score-partwise":
        raise ScoreError(f"This is not a MusicXML score: its outermost element is <{root.tag[:60]}>.")
    return root


def _read_file(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_XML_BYTES + 1)
    except OSError as error:
        raise ScoreError(f"The score cannot be opened: {error.strerror or error}.") from error
    return _checked_size(raw)


def _checked_size(raw: bytes) -> bytes:
    if len(raw) > MAX_XML_BYTES:
        raise ScoreError(f"The score is larger than {MAX_XML_BYTES // 2**20} MB; export fewer parts or bars.")
    return raw


def _parse(raw: bytes) -> Element:
    _checked_size(raw)
    if not raw.strip():
        raise ScoreError("The score file is empty.")
    depth = elements = 0
    root: Element | None = None
    try:
        for event, element in iterparse(io.BytesIO(raw), events=("start", "end"), forbid_dtd=False):
            if event == "end":
                depth -= 1
                continue
            depth, elements = depth + 1, elements + 1
            root = element if root is None else root
            if depth > MAX_DEPTH or elements > MAX_ELEMENTS:
                raise ScoreError("The score is nested too deeply or has too many elements to be one.")
    except DefusedXmlException as error:
        raise ScoreError("The score declares XML entities of its own; those are refused. Export it again.") from error
    except (ParseError, ValueError, LookupError) as error:
        raise ScoreError(f"The score is not well-formed XML ({error}). Export it again.") from error
    if root is None:
        raise ScoreError("The score file holds no XML element.")
    return _without_namespace(root)


def _without_namespace(root: Element) -> Element:
    for element in root.iter():
        if isinstance(element.tag, str) and element.tag.startswith("{"):
            element.tag = element.tag.rpartition("}")[2]
    return root


def _unpack(raw: bytes) -> bytes:
    """The score inside a compressed file. Nothing is written to disk, so names in it cannot lead anywhere."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            names = archive.namelist()
            if len(names) > MAX_ENTRIES:
                raise ScoreError("The compressed score holds too many files.")
            return _member(archive, _score_name(archive, names))
    except (zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, EOFError, OSError) as error:
        raise ScoreError(f"The compressed score cannot be unpacked ({error}).") from error


def _score_name(archive: zipfile.ZipFile, names: list[str]) -> str:
    if CONTAINER in names:
        for rootfile in _parse(_member(archive, CONTAINER)).iter("rootfile"):
            kind = rootfile.get("media-type", "")
            name = rootfile.get("full-path", "")
            if kind in ("", "application/vnd.recordare.musicxml+xml", "application/vnd.recordare.musicxml", "text/xml", "application/xml"):
                if name.startswith(("/", "\\")) or ".." in name.replace("\\", "/").split("/") or name not in names:
                    raise ScoreError("The compressed score points to a file that is not in it.")
                return name
    loose = [name for name in names if name.lower().endswith((".musicxml", ".xml")) and not name.startswith("META-INF")]
    if len(loose) != 1:
        raise ScoreError("The compressed score does not say which of its files is the score.")
    return loose[0]


def _member(archive: zipfile.ZipFile, name: str) -> bytes:
    """One file of the archive; read with a limit, because the size it declares may lie."""
    with archive.open(name) as member:
        return _checked_size(member.read(MAX_XML_BYTES + 1))
