"""The small film and poster of a take: made by a task from a real video, listed on it, gone with it."""

import pytest
from django.core.files.storage import default_storage
from django.urls import reverse

from submissions import actions, bridge, tasks
from submissions.engine import media
from submissions.engine.rehearsal.scenario import make_scene, scenes
from submissions.models import Preview, ProbeReport, Take


@pytest.fixture
def take(player, part, tmp_path) -> Take:
    """A probed take from a real file."""
    scene = next(s for s in scenes() if (s.segment, s.part_id, s.source) == ("Copper Gate", "P1", "film"))
    made = make_scene(scene, tmp_path)
    take = actions.receive_take(player.entry, part, made.path, filename=made.path.name)
    Take.objects.filter(pk=take.pk).update(work="running", leased_by="w", lease_until=take.received_at)
    take.refresh_from_db()
    assert bridge.store_report(take.pk, "w", bridge.probe(take))
    ProbeReport.objects.filter(take=take).update(verdict="ready")
    Preview.objects.get_or_create(take=take)
    return Take.objects.get(pk=take.pk)


class TestPreviews:
    def test_play_in_every_browser_keep_the_takes_own_time_and_go_with_it(
        self, take, player, people, tmp_path, at_once
    ):
        tasks.make_previews(take.pk)
        take = Take.objects.get(pk=take.pk)
        assert Preview.objects.get().work == "done"
        assert set(take.files) == {"poster", "preview", "sound"}
        film = media.read_container(default_storage.path(take.files["preview"]))
        assert (film.video_codec, film.audio_codec) == ("h264", "aac")
        assert film.duration_s == pytest.approx(take.report.body["container"]["duration_s"], abs=0.2)
        assert take.report.body["preview_zero_s"] == pytest.approx(take.report.zero_s)
        poster = player.client.get(reverse("take-file", args=[take.public_id, "poster"]))
        assert poster["Content-Type"] == "image/jpeg"
        assert people.stranger.client.get(reverse("take-file", args=[take.public_id, "poster"])).status_code == 404
        keys = list(take.files.values())
        with at_once():
            actions.withdraw_take(take)
        assert not any(default_storage.exists(key) for key in keys)
        tasks.make_previews(take.pk)  # a late message makes nothing again
        assert Take.objects.get(pk=take.pk).files == {}
