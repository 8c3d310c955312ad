"""From untrusted bytes to a partwise tree, in bounded memory; everything unusable becomes a ScoreError.

Limits are chosen, not borrowed: a cadence of a hundred bars for five parts takes about 3 MB of MusicXML.
"""

import io
import re
import zipfile
import zlib
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml import DefusedXmlException, DTDForbidden
from defusedxml.ElementTree import DefusedXMLParser

from ...errors import ScoreError
from .timewise import to_partwise

MAX_XML_BYTES = 24 * 2**20
MAX_ELEMENTS = 800_000
MAX_DEPTH = 40  # MusicXML itself needs about a dozen
MAX_ENTRIES = 2_000  # of a compressed score
CHUNK = 2**16
CONTAINER = "META-INF/container.xml"
ROOT_KINDS = (
    "",
    "application/vnd.recordare.musicxml+xml",
    "application/vnd.recordare.musicxml",
    "text/xml",
    "application/xml",
)
# A file saved as UTF-8 that still says UTF-16, as programs do that build it as a text in memory first.
SAYS_UTF_16 = re.compile(rb"<\?xml[^>]{0,100}encoding\s*=\s*[\"']utf-?16[^>]*\?>", re.IGNORECASE)


class Builder(TreeBuilder):
    """Builds the tree and stops when it grows beyond what a score can be."""

    def __init__(self) -> None:
        super().__init__()
        self.depth = self.elements = 0

    def start(self, tag: Any, attrs: Any, /) -> Element:
        self.depth, self.elements = self.depth + 1, self.elements + 1
        if self.depth > MAX_DEPTH or self.elements > MAX_ELEMENTS:
            raise ScoreError("The score is nested too deeply or has too many elements to be one.")
        return super().start(tag, attrs)

    def end(self, tag: Any, /) -> Element:
        self.depth -= 1
        return super().end(tag)


class Parser(DefusedXMLParser):  # type: ignore[misc]
    """Refuses entities and outside references, and any declarations of the file's own (they can swell attributes)."""

    def __init__(self, encoding: str | None) -> None:
        super().__init__(target=Builder(), encoding=encoding, forbid_dtd=False)
        self.parser.StartDoctypeDeclHandler = self.refuse_declarations

    def refuse_declarations(self, name: str, system: str | None, public: str | None, has_own_declarations: int) -> None:
        if has_own_declarations:
            raise DTDForbidden(name, system, public)


def open_tree(source: Path | str | bytes) -> Element:
    """The score-partwise element of a .musicxml, .xml or .mxl file (a str is a path)."""
    raw = source if isinstance(source, bytes) else _read_file(Path(source))
    if raw[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        raw = _unpack(raw)
    root = _parse(raw)
    if root.tag == "score-timewise":
        root = to_partwise(root)
    if root.tag != "score-partwise":
        raise ScoreError(f"This is not a MusicXML score: its outermost element is <{str(root.tag)[:60]}>.")
    return root


def _read_file(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return _checked_size(file.read(MAX_XML_BYTES + 1))
    except OSError as error:
        raise ScoreError(f"The score cannot be opened: {error.strerror or error}.") from error


def _checked_size(raw: bytes) -> bytes:
    if len(raw) > MAX_XML_BYTES:
        raise ScoreError(f"The score is larger than {MAX_XML_BYTES // 2**20} MB; export fewer parts or bars.")
    return raw


def _parse(raw: bytes) -> Element:
    _checked_size(raw)
    if raw[:1].isspace():
        raw = raw.lstrip()  # a blank line before the XML declaration: common, harmless and otherwise an error
    if not raw:
        raise ScoreError("The score file is empty.")
    parser = Parser("utf-8" if SAYS_UTF_16.match(raw) else None)
    view = memoryview(raw)
    try:
        for start in range(0, len(raw), CHUNK):
            parser.feed(bytes(view[start : start + CHUNK]))
        root = parser.close()
    except DefusedXmlException as error:
        raise ScoreError(
            "The score declares XML entities or elements of its own; those are refused. Export it again."
        ) from error
    except (ParseError, ValueError, LookupError, AssertionError) as error:
        raise ScoreError(f"The score is not well-formed XML ({error}). Export it again.") from error
    if not isinstance(root, Element):
        raise ScoreError("The score file holds no XML element.")
    return _without_namespace(root)


def _without_namespace(root: Element) -> Element:
    for element in root.iter():
        if isinstance(element.tag, str) and element.tag.startswith("{"):
            element.tag = element.tag.rpartition("}")[2]
    return root


def _unpack(raw: bytes) -> bytes:
    """The score inside a compressed file. Nothing is written to disk, so names in it cannot lead anywhere."""
    _checked_size(raw)
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            names = archive.namelist()
            if len(names) > MAX_ENTRIES:
                raise ScoreError("The compressed score holds too many files.")
            return _member(archive, _score_name(archive, names))
    except (
        zipfile.BadZipFile,
        zlib.error,
        RuntimeError,
        NotImplementedError,
        EOFError,
        OSError,
        ValueError,
        KeyError,
    ) as error:
        raise ScoreError(f"The compressed score cannot be unpacked ({error}).") from error


def _score_name(archive: zipfile.ZipFile, names: list[str]) -> str:
    if CONTAINER in names:
        for rootfile in _parse(_member(archive, CONTAINER)).iter("rootfile"):
            if rootfile.get("media-type", "") in ROOT_KINDS:
                name = rootfile.get("full-path", "")
                if name.startswith("/") or ".." in re.split(r"[\\/]", name) or name not in names:
                    raise ScoreError("The compressed score points to a file that is not in it.")
                return name
    loose = [
        name
        for name in names
        if name.lower().endswith((".musicxml", ".xml")) and not name.startswith(("META-INF", "__MACOSX"))
    ]
    if len(loose) != 1:
        raise ScoreError("The compressed score does not say which of its files is the score.")
    return loose[0]


def _member(archive: zipfile.ZipFile, name: str) -> bytes:
    """One file of the archive; read with a limit, because the size it declares may lie.

    Only the two methods the standard's container uses: zipfile unpacks the others in one go, whatever the limit.
    """
    if archive.getinfo(name).compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise ScoreError("The compressed score is packed in a way that MusicXML files are not; export it again.")
    with archive.open(name) as member:
        return _checked_size(member.read(MAX_XML_BYTES + 1))
