"""The named cast of the tests: who they are, and one published call they all have to do with."""

from dataclasses import dataclass
from datetime import timedelta
from functools import cache

from django.conf import settings
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from submissions import access, actions
from submissions.engine.rehearsal.cadence import cadence
from submissions.models import Call, Entry, MagicLink, PartRow, Take, Upload
from submissions.models.base import Work

CONSENT = "I agree that my take is measured, kept until the video is finished, and shown in it."
PASSWORD = "drum-line-at-dusk"


@dataclass
class Person:
    """Somebody with a browser; players have an entry, organizers and editors a user."""

    client: Client
    user: User | None = None
    entry: Entry | None = None
    secret: str = ""

    def upload(self, part: PartRow, length: int = 10, filename: str = "take.mp4", **more) -> Upload:
        return actions.begin_upload(self.entry, part, length=length, filename=filename, **more)


@cache
def score(segment: int = 0) -> bytes:
    """The MusicXML of one segment of the invented cadence."""
    return cadence()[segment].musicxml_text.encode()


def make_user(name: str) -> User:
    return User.objects.create_user(name, f"{name}@example.org", PASSWORD)


def make_call(organizer: User, editor: User, title: str = "Dusk Parade", published: bool = True) -> Call:
    """A call with one segment, one chair a part, a week to go."""
    call = actions.create_call(
        organizer,
        title=title,
        deadline=timezone.now() + timedelta(days=7),
        deadline_zone="Europe/London",
        consent_text=CONSENT,
        about="A street cadence played by people who never met.",
    )
    call.editors.add(editor)
    actions.add_segment(call, title="Copper Gate", score=score())
    if published:
        actions.state_rights(call, "The organizer wrote this cadence and lets everybody play and film it.")
        actions.publish_call(call)
    return call


def enter(call: Call, name: str, **more) -> tuple[Entry, str]:
    """An entry and the secret of a link to it."""
    words = {"age_band": "18", "country": "IE"} | more
    entry, _ = actions.enter(
        call,
        display_name=name,
        credit_name=name,
        email=f"{name.lower().replace(' ', '.')}@example.org",
        consent_text=call.consent_texts.first(),
        **words,
    )
    _, secret = MagicLink.make(entry, MagicLink.Purpose.PLAYER)
    return entry, secret


def open_link(client: Client, secret: str) -> None:
    """Let this browser hold what the private link gives, without the page in between."""
    link = MagicLink.objects.get(digest=MagicLink.digest_of(secret))
    session = client.session
    session[access.SESSION] = session.get(access.SESSION, {}) | {link.entry.public_id: [link.pk]}
    session.save()
    client.cookies[settings.SESSION_COOKIE_NAME] = session.session_key


def make_take(entry: Entry, part: PartRow, tmp_path, content: bytes = b"video", **more) -> Take:
    """A take through the real door; its content is no video."""
    path = tmp_path / "sent.mp4"
    path.write_bytes(content)
    return actions.receive_take(entry, part, path, filename="sent.mp4", **more)


def report_object(verdict: str = "ready", **more) -> dict:
    """A whole report as the engine prints it, with a few strokes."""
    report = {
        "verdict": verdict,
        "zero_s": 5.25,
        "zero_from": "marks",
        "zero_sd_s": 0.0001,
        "clock_ratio": 1.0,
        "bias_ms": -2.0,
        "spread_ms": 9.0,
        "written": 3,
        "matched": 3,
        "missed": 0,
        "extra": 0,
        "strokes": [],
        "heard_s": [],
        "container": {
            "duration_s": 30.0,
            "width": 1280,
            "height": 720,
            "rotation": 0,
            "fps": 30.0,
            "variable_fps": False,
            "video_codec": "h264",
            "audio_codec": "aac",
            "sample_rate": 48000,
            "sound_start_s": 0.0,
            "picture_start_s": 0.0,
        },
        "sound_late_ms": 3.0,
        "timing": {"by_bar": [], "by_count": [], "by_hand": [], "worst_bars": [], "best_bars": []},
        "findings": [],
        "versions": {},
        "cost": {"cpu_s": 1.0, "wall_s": 1.0},
    }
    return report | more


def lease(take: Take, who: str = "a-worker") -> None:
    """Put a take into a worker's hands."""
    take.lease(who, 60)
    take.work = Work.RUNNING
    take.save()
