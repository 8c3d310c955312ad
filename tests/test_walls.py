"""The rooms and the walls between them: imports point one way only, and the engine knows no Django."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
APP = ROOT / "submissions"
ORDER = (
    "views",
    "forms",
    "overview",
    "access",
    "actions",
    "tasks",
    "queue",
    "mail",
    "templatetags",
    "bridge",
    "files",
    "deadlines",
    "models",
    "sentences",
    "exports",
    "engine",
)
DJANGO_FREE = ("exports", "engine")
FOREIGN_TO_ENGINE = ("django", "celery", "storages", "redis", "portal")
# One file a foreign library: who else may import it is a breach.
ONLY_IN = {
    "av": ("engine/media",),
    "verovio": ("engine/music",),
    "typst": ("engine/music",),
    "mido": ("engine/music",),
    "opentimelineio": ("exports",),
}


def room_of(path: Path) -> str:
    return path.relative_to(APP).parts[0].removesuffix(".py")


def imported(path: Path, source: str) -> list[str]:
    """Absolute dotted names of everything the file imports, relative imports resolved."""
    package = ("submissions", *path.relative_to(APP).parent.parts)
    names = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = list(package[: len(package) - node.level + 1]) if node.level else []
            stem = ".".join([*base, *([node.module] if node.module else [])])
            names.append(stem)
            names += [f"{stem}.{alias.name}" for alias in node.names]
    return names


def breaches(path: Path, source: str) -> list[str]:
    """Sentences, one for each import that goes through a wall."""
    room, out = room_of(path), []
    inside = str(path.relative_to(APP))
    for name in imported(path, source):
        parts = name.split(".")
        if room in DJANGO_FREE and parts[0] in FOREIGN_TO_ENGINE:
            out.append(f"{inside} imports {name}: {room} knows no Django, Celery or portal")
        if parts[0] in ONLY_IN and not inside.startswith(ONLY_IN[parts[0]]):
            out.append(f"{inside} imports {name}: only {ONLY_IN[parts[0]]} may")
        if parts[0] != "submissions" or len(parts) < 2 or room not in ORDER or parts[1] not in ORDER:
            continue
        if ORDER.index(parts[1]) < ORDER.index(room):
            out.append(f"{inside} imports {name}: {room} may not look back at {parts[1]}")
    return out


def sources() -> list[Path]:
    return [p for p in sorted(APP.rglob("*.py")) if "migrations" not in p.parts]


class TestTheWalls:
    def test_stand(self):
        found = [line for path in sources() for line in breaches(path, path.read_text())]
        assert found == []

    def test_are_held_over_a_real_tree(self):
        assert len(sources()) > 30

    @pytest.mark.parametrize(
        ("path", "source", "says"),
        [
            ("engine/ear/x.py", "import django.db", "knows no Django"),
            ("engine/probe.py", "from submissions.models import Take", "may not look back at models"),
            ("engine/probe.py", "from ..models import Take", "may not look back at models"),
            ("exports/x.py", "from submissions import actions", "may not look back at actions"),
            ("models.py", "from .access import take_for", "may not look back at access"),
            ("queue.py", "from .tasks import probe_take", "may not look back at tasks"),
            ("engine/ear/x.py", "import av", "only ('engine/media',) may"),
        ],
    )
    def test_catch_a_planted_breach(self, path, source, says):
        assert any(says in line for line in breaches(APP / path, source))

    def test_let_the_right_way_through(self):
        assert breaches(APP / "tasks.py", "from . import bridge\nfrom .engine.probe import probe") == []

    def test_leave_the_package_empty_so_that_the_engine_imports_alone(self):
        assert (APP / "__init__.py").read_text().strip() == ""
