"""Fill an installation with the invented demo: sign-ins, the call, its players, and their takes as they are made.

Works on whatever installation the environment names; every step that is already done is left out, so that a start
that was interrupted goes on where it stopped.
"""

import json
import os
import secrets
import tempfile
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.core.management.base import BaseCommand
from django.utils import timezone

from submissions import actions
from submissions.engine.rehearsal.cadence import cadence
from submissions.engine.rehearsal.scenario import MadeScene, Player, Scene, make_scene, scenes
from submissions.models import Call, Entry, PartRow, Take

TITLE = "Lantern Walk"
ABOUT = (
    "A street cadence in three segments for snares, tenors, five split basses and cymbals. Play your part where you "
    "are, to our click; we put everybody side by side."
)
RULES = "One take from beginning to end, no cuts. The whole instrument in the picture. Let the camera hear the marks."
CONSENT = (
    "I agree that my video is measured against the written part, kept until the group video is finished and at most "
    "twelve months, and shown in it with the credit I chose. I may take it back at any time; then it is deleted."
)
RIGHTS = "This cadence was invented for the demo; everybody may arrange, play and film it."
# Chairs wanted in every segment, by instrument; more than come, so that the board has something to say.
CHAIRS = {"snare": 3, "tenors": 2, "bass": 1, "cymbals": 2}


class Command(BaseCommand):
    help = "Fills this installation with the invented demo call and its takes."

    def add_arguments(self, parser) -> None:
        parser.add_argument("--people-only", action="store_true", help="sign-ins and the call, no takes")

    def handle(self, *args: Any, **options: Any) -> None:
        call = the_call(*the_desk())
        if options["people_only"]:
            return
        send_takes(call, self.stdout.write)


def sign_ins_path() -> Path:
    return Path(settings.VAR_DIR) / "sign-ins.json"


def the_desk() -> tuple[User, User]:
    """Organizer and editor; their generated passwords are kept in a file only this user reads."""
    path = sign_ins_path()
    known = json.loads(path.read_text()) if path.exists() else {}
    people = []
    for name in ("organizer", "editor"):
        user, made = User.objects.get_or_create(username=name, defaults={"email": f"{name}@example.org"})
        if made or name not in known:
            known[name] = secrets.token_urlsafe(12)
            user.set_password(known[name])
            user.save()
        people.append(user)
    with open(os.open(path, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600), "w") as file:
        json.dump(known, file)
    return people[0], people[1]


def the_call(organizer: User, editor: User) -> Call:
    """The demo call, published, three weeks before its deadline."""
    call = Call.objects.filter(title=TITLE).first()
    if call is not None and call.state != Call.State.DRAFT:
        return call
    if call is not None:
        call.delete()  # a start that was interrupted half-way
    local = (timezone.now() + timedelta(days=21)).replace(hour=20, minute=0, second=0, microsecond=0)
    call = actions.create_call(
        organizer,
        title=TITLE,
        deadline=local,
        deadline_zone="Europe/London",
        about=ABOUT,
        rules=RULES,
        consent_text=CONSENT,
    )
    call.editors.add(editor)
    for source in cadence():
        actions.add_segment(call, title=source.name, score=source.musicxml_text.encode())
    for part in PartRow.objects.filter(segment__call=call).exclude(instrument="bass"):
        actions.set_chairs(part, CHAIRS[part.instrument])
    actions.state_rights(call, RIGHTS)
    return actions.publish_call(call)


def send_takes(call: Call, say) -> dict[str, int]:
    """Make every take that is not there yet and send it as its player would; primary keys by scene."""
    sent: dict[str, int] = {}
    made: dict[str, MadeScene] = {}
    todo = scenes()
    with tempfile.TemporaryDirectory() as folder:
        for number, scene in enumerate(todo, start=1):
            entry, part = enter(call, scene.player), part_of(call, scene)
            take = Take.objects.filter(entry=entry, part=part, filename=scene.file_name).first()
            if take is None:
                made[scene.key] = make_scene(scene, Path(folder), made)
                take = send(entry, part, made[scene.key])
                say(f"take {number} of {len(todo)}: {scene.player.name}, {part}")
            sent[scene.key] = take.pk
    return sent


def send(entry: Entry, part: PartRow, made: MadeScene) -> Take:
    """Send a copy: the storage takes a file over, and a later scene may copy this one."""
    with tempfile.NamedTemporaryFile(dir=made.path.parent, delete=False) as copy:
        copy.write(made.path.read_bytes())
    return actions.receive_take(entry, part, Path(copy.name), filename=made.path.name)


def enter(call: Call, player: Player) -> Entry:
    """The player's entry, with a guardian's yes where one is needed."""
    entry = Entry.objects.filter(call=call, email=player.email).first()
    if entry is not None:
        return entry
    text = call.consent_texts.first()
    guardian = f"{player.email.split('@')[0]}.guardian@example.org"
    entry, _ = actions.enter(
        call,
        display_name=player.name,
        credit_name=player.name,
        email=player.email,
        age_band=player.age,
        consent_text=text,
        country="IE",
        guardian_email=guardian if int(player.age) < 18 else "",
    )
    if player.guardian:
        actions.guardian_agrees(entry, player.guardian, text)
    return entry


def part_of(call: Call, scene: Scene) -> PartRow:
    return PartRow.objects.get(segment__call=call, segment__title=scene.segment, part_id=scene.part_id, drum=scene.drum)
