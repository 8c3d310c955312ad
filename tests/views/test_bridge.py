"""Rows to engine values and back: scores, materials, the cut."""

import io
import json

import pytest
from django.core.files.storage import default_storage
from pypdf import PdfReader

from submissions import actions, bridge, files, tasks
from submissions.models import Export, PartRow, ProbeReport
from tests import cast


class TestAScore:
    def test_gives_each_drum_of_a_bass_line_a_part_and_the_line_on_one_drum_another(self, call):
        parts = PartRow.objects.filter(segment__call=call).order_by("place")
        found = [(part.instrument, part.drum, part.chairs.count()) for part in parts]
        basses = [("bass", str(drum), 1) for drum in range(1, 6)]
        assert found == [("snare", "all", 1), ("tenors", "all", 1), *basses, ("bass", "all", 0), ("cymbals", "all", 1)]

    def test_tells_tempo_meter_and_length(self, call):
        summary = call.segments.get().summary
        # Eight bars of four quarters at 108 a minute: 8 * 4 * 60 / 108 s.
        assert (summary["bars"], summary["bpm"], summary["meter"]) == (8, 108.0, "4/4")
        assert summary["seconds"] == pytest.approx(8 * 4 * 60 / 108, abs=0.001)

    @pytest.mark.parametrize("content", [b"", b"no score", b"<score-partwise/>", b"\x00" * 100])
    def test_that_cannot_be_used_is_refused_on_its_field(self, call, content):
        with pytest.raises(actions.Refused) as refused:
            actions.add_segment(call, title="x", score=content)
        assert refused.value.field == "score"
        assert str(refused.value)
        assert call.segments.count() == 1

    def test_put_in_anew_keeps_parts_that_takes_were_sent_for(self, player, part, call, tmp_path):
        cast.make_take(player.entry, part, tmp_path)
        actions.update_segment(part.segment, score=cast.score(1))
        assert PartRow.objects.get(pk=part.pk).takes.count() == 1

    def test_corrections_reach_the_engine(self, call, part):
        segment = part.segment
        first = bridge.part_of(part).rolls[0]
        assert first.strokes_a_note > 0
        segment.corrections = {part.part_id: {"rolls": [[first.bar, first.count, 0]]}}
        segment.save()
        part.refresh_from_db()
        assert bridge.part_of(part).rolls[0].strokes_a_note == 0


class TestSegments:
    def test_change_places_and_close_gaps(self, call):
        first = call.segments.get()
        second = actions.add_segment(call, title="Long Ladder", score=cast.score(1), times=2)
        third = actions.add_segment(call, title="Last Lantern", score=cast.score(2))
        actions.order_segments(call, [third.pk, first.pk, second.pk])
        assert [s.pk for s in call.segments.all()] == [third.pk, first.pk, second.pk]
        actions.remove_segment(third)
        assert [(s.pk, s.place) for s in call.segments.all()] == [(first.pk, 1), (second.pk, 2)]
        with pytest.raises(actions.Refused, match="every segment once"):
            actions.order_segments(call, [first.pk])

    def test_with_takes_stay(self, player, part, tmp_path):
        cast.make_take(player.entry, part, tmp_path)
        with pytest.raises(actions.Refused, match="already sent"):
            actions.remove_segment(part.segment)


class TestPublishing:
    def test_says_what_is_missing(self, call, people):
        draft = cast.make_call(call.organizer, people.editor.user, title="Draft", published=False)
        with pytest.raises(actions.Refused) as refused:
            actions.publish_call(draft)
        assert refused.value.field == "rights_statement"
        actions.state_rights(draft, "Our own music.")
        for part in PartRow.objects.filter(segment__call=draft):
            actions.set_chairs(part, 0)
        with pytest.raises(actions.Refused, match="chair"):
            actions.publish_call(draft)
        actions.set_chairs(PartRow.objects.filter(segment__call=draft).first(), 2)
        assert actions.publish_call(draft).is_open


class TestMaterials:
    def test_are_made_stored_and_replaced_whole_and_agree_after_a_correction(self, call, part):
        type(call).objects.filter(pk=call.pk).update(ladder_steps=2)
        tasks.make_materials(part.pk)
        part.refresh_from_db()
        assert (part.work, part.progress) == ("done", 100)
        listed = {file["name"]: file for file in part.materials["files"]}
        assert {"sheet-a4.pdf", "sheet.svg", "part.mid", "strokes.json", "materials.json"} <= set(listed)
        assert {click["file"] for click in part.materials["clicks"]} <= set(listed)
        assert any(click["bpm"] == 108 for click in part.materials["clicks"])
        strokes = json.loads(files.read_bytes(listed["strokes.json"]["key"]))
        assert len(strokes) == len(bridge.part_of(part).strokes)
        old = [file["key"] for file in listed.values()]
        tasks.make_materials(part.pk)  # done already: a second message changes nothing
        assert all(default_storage.exists(key) for key in old)
        roll = bridge.part_of(part).rolls[0]
        actions.correct_reading(part, {(roll.bar, roll.count): 5}, {})
        tasks.make_materials(part.pk)
        assert not any(default_storage.exists(key) for key in old)
        part = PartRow.objects.select_related("segment").get(pk=part.pk)
        files_now = {file["name"]: files.read_bytes(file["key"]) for file in part.materials["files"]}
        written = bridge.part_of(part).strokes
        assert len(written) == len(strokes) + 5 - roll.strokes_a_note
        heard = json.loads(files_now["strokes.json"])
        assert [one["at_s"] for one in heard] == [round(stroke.at_s, 9) for stroke in written]
        assert len(json.loads(files_now["practice.json"])["strokes"]) == len(written)
        assert "5×" in files_now["sheet.svg"].decode()
        german = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(files_now["sheet-a4-de.pdf"])).pages)
        said = " ".join(german.split())
        for words in ("Ohren Trommeln sind so laut", "Seite 1 von", "Viertel pro Minute, Einzählen: 2 Takte", "Wirbel"):
            assert words in said
        for words in ("5 Schläge, von der Leitung gesetzt", "Anspruch Fortgeschritten: bis zu", "Rudiments"):
            assert words in said
        left = [word for word in ("strokes", "bars", "Ears", "count-off", "Advanced") if word in said]
        assert left == []


class TestTheCut:
    @pytest.fixture
    def picked(self, people, player, part, tmp_path):
        take = cast.make_take(player.entry, part, tmp_path)
        body = cast.report_object()
        body["container"] |= {"sound_start_s": 0.021, "picture_start_s": 0.0}
        ProbeReport.objects.create(
            take=take, verdict="ready", zero_s=5.25, zero_from="marks", clock_ratio=1.00002, body=body
        )
        return actions.pick(part.chairs.get(), take, people.editor.user)

    def test_holds_picks_nudges_and_repeats(self, call, people, picked, part):
        part.segment.times = 2
        part.segment.save()
        actions.apply_nudge(picked, people.editor.user, 3.0)
        actions.apply_nudge(picked, people.editor.user, -4.5, "a little early")
        sheet = bridge.cut_sheet(call)
        assert [segment.name for segment in sheet.segments] == ["Copper Gate", "Copper Gate"]
        assert sheet.starts_s() == pytest.approx((0.0, 8 * 4 * 60 / 108), abs=0.001)
        (pick,) = sheet.segments[1].picks
        assert (pick.zero_s, pick.nudge_ms, pick.clock_ratio) == (5.25, -4.5, 1.00002)
        assert pick.picture_offset_s == pytest.approx(0.021)
        assert pick.credit == "Wren Aster"
        assert "aster" not in pick.file
        assert pick.chair in sheet.chairs
        assert sheet.chairs[0].startswith("Snare")
        assert sheet.chairs[-1].startswith("Cymbals")

    def test_leaves_out_who_has_taken_their_yes_back(self, call, picked, player):
        from django.utils import timezone

        player.entry.consents.update(withdrawn_at=timezone.now())
        assert bridge.cut_sheet(call).segments[0].picks == ()

    def test_is_exported_by_a_task(self, call, people, picked, at_once):
        with at_once():
            actions.order_export(call, people.editor.user, "offsets-json")
        export = Export.objects.get()
        assert export.work == "done", export.failure
        (file,) = export.files
        offsets = json.loads(files.read_bytes(file["key"]))
        assert offsets["picks"][0]["zero_in_file_s"] == 5.25

    def test_of_an_unknown_kind_is_refused_and_of_nothing_too(self, call, people, picked):
        with pytest.raises(actions.Refused, match="kind"):
            actions.order_export(call, people.editor.user, "paper-roll")
        actions.unpick(picked.chair)
        with pytest.raises(actions.Refused, match="Pick at least one"):
            actions.order_export(call, people.editor.user, "offsets-json")

    @pytest.mark.parametrize("shift", [500.1, -501, float("nan")])
    def test_takes_no_nudge_that_is_none(self, picked, people, shift):
        with pytest.raises(actions.Refused, match="at most"):
            actions.apply_nudge(picked, people.editor.user, shift)

    def test_moves_a_pick_and_never_doubles_it(self, people, picked, part):
        from submissions.models import Chair, Pick

        actions.set_chairs(part, 2)
        second = Chair.objects.get(part=part, number=2)
        actions.pick(second, picked.take, people.editor.user)
        assert [pick.chair for pick in Pick.objects.all()] == [second]
