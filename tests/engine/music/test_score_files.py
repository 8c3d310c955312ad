"""Files as programs write them, and files made to do harm. Memory is measured in a process of its own."""

import io
import resource
import subprocess
import sys
import zipfile
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, fromstring, tostring

import pytest

from submissions.engine.errors import ScoreError
from submissions.engine.music.score import read_part, read_score
from submissions.engine.rehearsal.cadence import cadence

from . import page as p

PLAIN = p.page(p.bar(1, p.first(p.tempo("120")), p.note("q") * 4))
DOCTYPE = '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">'
CONTAINER = '<?xml version="1.0"?><container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'
ROOT = Path(__file__).resolve().parents[3]
MEMORY_MB = 420  # chosen: what one worker may spend on one score


def packed(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()


def count(source) -> int:
    return len(read_part(source).strokes)


class TestKindsOfFile:
    @pytest.mark.parametrize("name", ["score.musicxml", "score.xml", "Score With Blanks.MUSICXML"])
    def test_plain_files(self, tmp_path, name):
        path = tmp_path / name
        path.write_bytes(PLAIN)
        assert count(path) == count(str(path)) == 4

    def test_a_compressed_file_names_its_score(self, tmp_path):
        path = tmp_path / "score.mxl"
        files = {
            "META-INF/container.xml": CONTAINER.format("music/one.musicxml").encode(),
            "music/one.musicxml": PLAIN,
            "other.xml": b"<x/>",
        }
        path.write_bytes(packed({"mimetype": b"application/vnd.recordare.musicxml"} | files))
        assert count(path) == 4

    def test_a_compressed_file_without_a_container_with_one_score(self):
        assert count(packed({"one.xml": PLAIN, "__MACOSX/._one.xml": b"junk"})) == 4

    def test_the_first_rootfile_that_is_a_score_is_taken(self):
        roots = '<rootfile full-path="a.pdf" media-type="application/pdf"/><rootfile full-path="b.xml" media-type="application/vnd.recordare.musicxml+xml"/>'
        container = f"<container><rootfiles>{roots}</rootfiles></container>".encode()
        assert count(packed({"META-INF/container.xml": container, "a.pdf": b"%PDF", "b.xml": PLAIN})) == 4

    @pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le-bom", "iso-8859-1"])
    def test_encodings(self, encoding):
        said = {"utf-8-sig": "UTF-8", "iso-8859-1": "ISO-8859-1"}.get(encoding, "UTF-16")
        text = PLAIN.decode().replace('encoding="UTF-8"', f'encoding="{said}"').replace("Snare", "Caisse claire é")
        raw = b"\xff\xfe" + text.encode("utf-16-le") if encoding == "utf-16-le-bom" else text.encode(encoding)
        part = read_part(raw)
        assert (part.name, len(part.strokes)) == ("Caisse claire é", 4)

    def test_a_file_that_says_utf_16_and_is_utf_8(self):
        assert count(PLAIN.replace(b'encoding="UTF-8"', b'encoding="utf-16"')) == 4

    def test_a_blank_line_before_the_declaration(self):
        assert count(b"\n\r\n " + PLAIN) == 4

    def test_a_doctype_is_not_followed(self):
        assert count(PLAIN.replace(b"?>", b"?>" + DOCTYPE.encode(), 1)) == 4

    @pytest.mark.parametrize("version", ["1.0", "2.0", "3.0", "3.1", "4.0"])
    def test_versions(self, version):
        assert count(PLAIN.replace(b'version="4.0"', f'version="{version}"'.encode())) == 4

    def test_a_default_namespace_is_ignored(self):
        assert count(PLAIN.replace(b"<score-partwise", b'<score-partwise xmlns="http://example.org/ns"')) == 4

    def test_timewise(self):
        def measure(n: int, *parts: str) -> str:
            inside = "".join(f'<part id="P{k}">{music}</part>' for k, music in enumerate(parts, start=1))
            return f'<measure number="{n}">{inside}</measure>'

        listed = p.listed("P1", "Snare") + p.listed("P2", "Bass")
        music = measure(1, p.first() + p.note("w"), p.first() + p.note("q") * 4) + measure(
            2, p.note("h") * 2, p.note("w")
        )
        score = read_score(
            f'<score-timewise version="4.0"><part-list>{listed}</part-list>{music}</score-timewise>'.encode()
        )
        assert [[s.at_q for s in part.strokes] for part in score.parts] == [[0, 4, 6], [0, 1, 2, 3, 4]]

    def test_the_cadence_turned_timewise_is_the_same(self):
        root = fromstring(cadence()[2].musicxml_text)
        timewise = Element("score-timewise")
        timewise.append(root.find("part-list"))
        for bars in zip(*(part.findall("measure") for part in root.findall("part")), strict=True):
            measure = SubElement(timewise, "measure", bars[0].attrib)
            for part, bar in zip(root.findall("part"), bars, strict=True):
                SubElement(measure, "part", {"id": part.get("id")}).extend(bar)
        parts = [
            score.parts for score in (read_score(tostring(timewise)), read_score(cadence()[2].musicxml_text.encode()))
        ]
        assert [part.strokes for part in parts[0]] == [part.strokes for part in parts[1]]

    def test_title_composer_and_rights(self):
        head = "<work><work-title>Copper</work-title></work><identification><creator type='arranger'>B</creator><creator type='composer'>A</creator><rights>Free</rights></identification>"
        score = read_score(p.document(p.listed("P1", "Snare"), p.part(p.bar(1, p.first(), p.note("w"))), head=head))
        assert (score.title, score.composer, score.rights) == ("Copper", "A", "Free")

    def test_a_title_printed_as_a_credit(self):
        head = '<credit page="1"><credit-type>title</credit-type><credit-words>Ladder</credit-words></credit>'
        assert (
            read_score(p.document(p.listed("P1", "Snare"), p.part(p.bar(1, p.first(), p.note("w"))), head=head)).title
            == "Ladder"
        )


class TestAsProgramsWrite:
    def test_a_full_header_with_playback_and_layout(self):
        """Everything a program may add that strikes nothing: layout, groups, playback, staff details, slurs, beams."""
        listed = (
            '<part-group number="1" type="start"><group-symbol>bracket</group-symbol></part-group>'
            '<score-part id="P1"><part-name print-object="no">Snare Drum</part-name><part-name-display><display-text>Snare</display-text></part-name-display>'
            '<score-instrument id="P1-I39"><instrument-name>Snare</instrument-name><instrument-sound>drum.snare-drum</instrument-sound></score-instrument>'
            '<midi-device port="1"/><midi-instrument id="P1-I39"><midi-channel>10</midi-channel><midi-program>1</midi-program><midi-unpitched>39</midi-unpitched></midi-instrument>'
            '</score-part><part-group number="1" type="stop"/>'
        )
        start = (
            "<print><system-layout><top-system-distance>170</top-system-distance></system-layout><measure-numbering>system</measure-numbering></print>"
            '<attributes><divisions>4</divisions><key><fifths>0</fifths></key><time symbol="common"><beats>4</beats><beat-type>4</beat-type></time>'
            "<staves>1</staves><clef><sign>percussion</sign></clef><staff-details><staff-lines>1</staff-lines></staff-details></attributes>"
            '<direction placement="above" directive="yes"><direction-type><words font-weight="bold">March</words></direction-type>'
            '<direction-type><metronome parentheses="no"><beat-unit>quarter</beat-unit><per-minute>112</per-minute></metronome></direction-type><staff>1</staff><sound tempo="112"/></direction>'
        )
        one = (
            '<note default-x="80" default-y="5"><grace slash="yes"/><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched><instrument id="P1-I39"/>'
            '<voice>1</voice><type>eighth</type><stem>up</stem><notations><slur type="start" number="1"/></notations></note>'
            '<note default-x="95"><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched><duration>4</duration><instrument id="P1-I39"/><voice>1</voice>'
            '<type>quarter</type><stem default-y="30">up</stem><notations><slur type="stop" number="1"/><technical><up-bow/></technical><articulations><accent/></articulations></notations>'
            '<lyric number="1"><syllabic>single</syllabic><text>R</text></lyric></note>'
        )
        body = (
            one
            + one
            + "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
            + "<forward><duration>8</duration></forward>"
        )
        part = read_part(p.document(listed, p.part(p.bar(1, start, body))).replace(b"?>", b"?>" + DOCTYPE.encode(), 1))
        assert [(s.kind, s.hand, s.accent) for s in part.strokes] == [("grace", None, False), ("stroke", "R", True)] * 2
        assert (part.name, part.instrument, part.bpm) == ("Snare Drum", "snare", 112)
        assert (part.unread, part.warnings) == ((), ())

    def test_tremolo_on_a_chord_rolls_every_drum(self):
        tremolo = {"tremolo": (1, "single")}
        xml = p.page(
            p.bar(
                1, p.first(p.tempo("100")), p.note("h", "G5", **tremolo) + p.note("h", "E5", chord=True), p.rest("h")
            ),
            name="Bass",
        )
        assert [s.drum for s in read_score(xml).parts[0].strokes] == ["bass-1", "bass-2"] * 4
        assert [s.at_q for s in read_part(xml).strokes] == [0, 0.5, 1, 1.5]

    def test_parts_of_different_length_end_in_silence(self):
        parts = (
            p.part(p.bar(1, p.first(), p.note("w"))),
            p.part(p.bar(1, p.first(), p.note("w")), p.bar(2, p.note("w")), part_id="P2"),
        )
        score = read_score(p.document(p.listed("P1", "Snare") + p.listed("P2", "Bass"), *parts))
        assert [part.end_q for part in score.parts] == [8, 8]

    def test_the_demo_cadence_has_nothing_unread(self):
        for segment in cadence():
            for part in read_score(segment.musicxml_text.encode()).parts:
                assert (part.unread, part.warnings) == ((), ())


HOSTILE = {
    "an entity bomb": b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bbbbbbbbbb"><!ENTITY c "&b;&b;&b;&b;&b;">]><score-partwise>&c;</score-partwise>',
    "an outside entity": b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hostname">]><score-partwise>&x;</score-partwise>',
    "a swelling attribute": b'<!DOCTYPE a [<!ATTLIST b c CDATA "'
    + b"x" * 10_000
    + b'">]><score-partwise>'
    + b"<b/>" * 1000
    + b"</score-partwise>",
    "broken XML": PLAIN[:-30],
    "an empty file": b"",
    "only blanks": b"  \n ",
    "no XML": b"\x89PNG\r\n\x1a\n" + bytes(100),
    "another root": b"<html><body/></html>",
    "no bars": b"<score-partwise><part-list/></score-partwise>",
    "deep nesting": b"<a>" * 100_000,
    "a broken archive": b"PK\x03\x04" + bytes(50),
    "an archive without a score": packed({"readme.txt": b"hello"}),
    "an archive with two scores": packed({"a.xml": PLAIN, "b.xml": PLAIN}),
    "a path out of the archive": packed(
        {"META-INF/container.xml": CONTAINER.format("../../etc/passwd").encode(), "a.xml": PLAIN}
    ),
    "an absolute path": packed({"META-INF/container.xml": CONTAINER.format("/etc/passwd").encode(), "a.xml": PLAIN}),
    "a score that is not in the archive": packed(
        {"META-INF/container.xml": CONTAINER.format("none.xml").encode(), "a.xml": PLAIN}
    ),
    "an entity bomb in the container": packed(
        {"META-INF/container.xml": b'<!DOCTYPE a [<!ENTITY b "b">]><a>&b;</a>', "a.xml": PLAIN}
    ),
}
# Name: how to make it (run in the measured process), so that the test's own memory does not count.
LARGE = {
    "200 MB": 'b"<score-partwise>" + b" " * (200 * 2**20)',
    "five million elements": 'b"<score-partwise>" + b"<a/>" * 5_000_000 + b"</score-partwise>"',
    "a million attributes": "b\"<score-partwise>\" + b\"<a b='1' c='2' d='3'/>\" * 1_000_000 + b\"</score-partwise>\"",
    "a zip bomb": "bomb(zipfile.ZIP_DEFLATED)",
    "a zip bomb of another method": "bomb(zipfile.ZIP_LZMA)",
}
MEASURED = """
import io, resource, sys, zipfile
from submissions.engine.errors import ScoreError
from submissions.engine.music.score import read_score
def bomb(method):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        with archive.open("score.xml", "w", force_zip64=True) as member:
            for _ in range(300):
                member.write(b" " * 2**20)
    return out.getvalue()
raw = {make}
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    read_score(raw)
except ScoreError as error:
    print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024, error)
"""


class TestHarm:
    @pytest.mark.parametrize("name", HOSTILE)
    def test_is_a_sentence(self, name):
        with pytest.raises(ScoreError, match=r"^(The|This) .{15,}\.$"):
            read_score(HOSTILE[name])

    @pytest.mark.parametrize("name", LARGE)
    def test_takes_bounded_memory(self, name):
        done = subprocess.run(
            [sys.executable, "-c", MEASURED.replace("{make}", LARGE[name])],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        )
        megabytes, _, says = done.stdout.partition(" ")
        assert int(megabytes) < MEMORY_MB
        assert says.startswith("The ")

    def test_a_large_file_is_not_read_to_its_end(self, tmp_path):
        path = tmp_path / "large.musicxml"
        with path.open("wb") as file:
            file.truncate(2**33)  # sparse: 8 GB that take no room
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        with pytest.raises(ScoreError, match="larger than 24 MB"):
            read_score(path)
        assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024 < 100

    def test_a_missing_file_is_a_sentence(self, tmp_path):
        with pytest.raises(ScoreError, match="cannot be opened: No such file"):
            read_score(tmp_path / "none.musicxml")

    def test_a_roll_of_millions_is_refused(self):
        roll = p.note("w", tremolo=(8, "single"))
        bars = [p.bar(1, p.first(p.tempo("20")), p.repeat("forward"), roll, p.repeat("backward", 3000))]
        with pytest.raises(ScoreError, match="more than 30000 strokes"):
            read_part(p.page(*bars))

    @pytest.mark.parametrize(
        "music",
        [
            p.note("q", chord=True) * 3000,
            p.words("R") * 3000,
            p.dynamic("f") * 3000,
            "<attributes><measure-style><slash type='start'/></measure-style></attributes>" * 1000 + p.note("q") * 2500,
        ],
        ids=["notes", "sticking", "dynamics", "slashes"],
    )
    def test_a_bar_of_thousands_of_signs_is_refused(self, music):
        with pytest.raises(ScoreError, match="holds more than 2000 notes and signs"):
            read_part(p.page(p.bar(1, p.first(), music)))

    def test_many_repeats_of_a_full_bar_are_refused(self):
        bars = [
            p.bar(
                1,
                p.first(),
                p.repeat("forward"),
                p.note("s", grace=True) * 1900,
                p.note("w"),
                p.repeat("backward", 900),
            )
        ]
        with pytest.raises(ScoreError, match="more than 60000 notes and rests"):
            read_part(p.page(*bars))

    def test_names_and_words_of_a_megabyte_are_cut(self):
        part = read_part(p.page(p.bar(1, p.first(), p.words("rit. " * 200_000), p.note("w")), name="Snare" * 100_000))
        assert len(part.name) <= 500
        assert len(part.unread) == 1

    def test_numbers_of_a_megabyte_are_no_numbers(self):
        part = read_part(p.page(p.bar(1, p.first(f'<sound tempo="{"9" * 100_000}"/>'), p.note("w"))))
        assert part.bpm == 120

    @pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e99", "0x10", "١٢", "--5", ""])
    def test_odd_numbers_are_not_taken(self, value):
        assert read_part(p.page(p.bar(1, p.first(f'<sound tempo="{value}"/>'), p.note("w")))).bpm == 120
