"""Fixtures for tests that need the portal: private folders, and the named cast."""

from types import SimpleNamespace

import pytest


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    """What starts servers and browsers comes first, so that it falls to one of two workers while the other computes.

    Two browsers at once on two cores wait for each other; the last minutes of a run are short tests for both.
    """
    items.sort(key=lambda item: not (item.get_closest_marker("service") or item.get_closest_marker("browser")))


@pytest.fixture(autouse=True)
def own_folders(request, tmp_path):
    """Takes, spooled uploads and mail of a test lie in its own folder; limits are counted anew."""
    if not {"settings", "db", "transactional_db", "client"} & set(request.fixturenames):
        yield
        return
    from django.core.cache import cache

    settings = request.getfixturevalue("settings")
    stores = settings.STORAGES
    local = {"BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": str(tmp_path / "files")}}
    settings.STORAGES = stores | {"default": local, "links": local}
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # strong ones are slow on purpose
    settings.LEASE_S = 3600  # a thread that renews a lease cannot see into the test's open transaction
    settings.SPOOL_DIR = tmp_path / "spool"
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def call(db):
    """One published call, organized by the organizer."""
    from tests import cast

    return cast.make_call(cast.make_user("organizer"), cast.make_user("editor"))


@pytest.fixture
def people(call):
    """player, other_player (of the same call), organizer, editor, and two kinds of stranger."""
    from django.test import Client

    from tests import cast

    def at_desk(user) -> cast.Person:
        client = Client()
        client.force_login(user)
        return cast.Person(client, user=user)

    def playing(name: str) -> cast.Person:
        entry, secret = cast.enter(call, name)
        client = Client()
        cast.open_link(client, secret)
        return cast.Person(client, entry=entry, secret=secret)

    return SimpleNamespace(
        player=playing("Wren Aster"),
        other_player=playing("Ivo Larch"),
        organizer=at_desk(call.organizer),
        editor=at_desk(call.editors.get()),
        stranger=cast.Person(Client()),
        other_organizer=at_desk(cast.make_user("elsewhere")),
    )


@pytest.fixture
def player(people):
    return people.player


@pytest.fixture
def part(call):
    """The snare part."""
    from submissions.models import PartRow

    return PartRow.objects.get(segment__call=call, instrument="snare")


@pytest.fixture
def at_once(django_capture_on_commit_callbacks):
    """Within this block what is queued is done when the block ends, tasks included, in this process."""
    from contextlib import contextmanager

    from portal.celery import app

    @contextmanager
    def doing():
        app.conf.update(task_always_eager=True, task_eager_propagates=True)
        try:
            with django_capture_on_commit_callbacks(execute=True):
                yield
        finally:
            app.conf.update(task_always_eager=False, task_eager_propagates=False)

    return doing
