"""A worker killed in the middle of a probe: the take is probed again and gets exactly one verdict."""

import shutil

import pytest

from submissions.engine.rehearsal.scenario import make_scene, scenes
from tests.services.house import ask, house, look, wait_for

pytestmark = [pytest.mark.service]
LEASE_S = 4


@pytest.fixture(scope="module")
def video(tmp_path_factory):
    """A real take of the snare part of the cast's segment."""
    scene = next(s for s in scenes() if s.source == "film" and (s.segment, s.part_id) == ("Copper Gate", "P1"))
    return make_scene(scene, tmp_path_factory.mktemp("video")).path


@pytest.fixture
def place(tmp_path):
    settings = {"TAPOFF_LEASE_S": str(LEASE_S), "TAPOFF_SWEEP_S": "1"}
    with house(tmp_path, web=False, worker=True, **settings) as place:
        yield place


class TestAKilledWorker:
    def test_costs_a_lease_and_nothing_else(self, place, video, tmp_path):
        told = ask(place, "prepare")
        sent = tmp_path / f"sent{video.suffix}"
        shutil.copyfile(video, sent)
        ask(place, "send", str(sent), told["entry"])
        wait_for(lambda: look(place, "SELECT work FROM submissions_take") == [("running",)], every=0.02)
        place.kill("worker")
        assert look(place, "SELECT work FROM submissions_take") == [("running",)]  # it died with the lease in its hands
        assert look(place, "SELECT count(*) FROM submissions_probereport") == [(0,)]
        place.start_worker()
        wait_for(lambda: look(place, "SELECT work FROM submissions_take") == [("done",)], 240)
        done = ask(place, "takes")[0]
        assert len(done["verdicts"]) == 1
        assert done["attempts"] == 2
        mails = "SELECT count(*) FROM submissions_maillog WHERE kind = 'verdict'"
        wait_for(lambda: look(place, mails) == [(1,)])

    def test_that_dies_every_time_puts_the_take_aside_in_words(self, db, call, part, player, tmp_path, settings):
        from datetime import timedelta

        from django.utils import timezone

        from submissions import queue
        from submissions.models import Take
        from tests import cast

        cast.make_take(player.entry, part, tmp_path)
        for attempt in range(settings.PROBE_ATTEMPTS):
            assert queue.claim_take(f"worker-{attempt}") is not None
            Take.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
            queue.sweep()
        take = Take.objects.get()
        assert (take.work, take.leased_by) == ("failed", "")
        assert "nothing is lost" in take.failure
        assert queue.claim_take("worker-last") is None
