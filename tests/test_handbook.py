"""What a newcomer relies on: every check, export and setting is named in the handbook."""

import re
from pathlib import Path

import pytest

from submissions.engine.checks import CHECKS
from submissions.exports import EXPORTS

ROOT = Path(__file__).resolve().parent.parent
HANDBOOK = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DESIGN_CODES = ["unreadable", "no-audio", "no-picture", "silent", "too-quiet", "clipped", "noisy", "click-audible", "not-this-part", "wrong-tempo", "drifts", "starts-late", "incomplete", "unsure-of-zero", "loose-timing", "still-picture", "frozen-picture", "black-picture", "dark-picture", "portrait", "small-picture", "low-frame-rate", "variable-frame-rate", "sound-picture-apart", "copy-of-a-take"]


class TestTheHandbook:
    @pytest.mark.parametrize("code", [code for code, _ in CHECKS])
    def test_names_every_check(self, code):
        assert f"`{code}`" in HANDBOOK

    @pytest.mark.parametrize("name", [export.name for export in EXPORTS])
    def test_names_every_export(self, name):
        assert f"`{name}`" in HANDBOOK

    def test_names_no_file_that_is_not_there(self):
        there = [f"/{p.relative_to(ROOT)}" for top in ("submissions", "portal", "tests", "bench") for p in (ROOT / top).rglob("*.py")]
        named = set(re.findall(r"`([a-z_/]+\.py)[`:]", HANDBOOK)) - {"manage.py"}
        assert len(named) > 50
        assert [n for n in sorted(named) if not any(p.endswith(f"/{n}") for p in there)] == []

    def test_names_every_setting(self):
        source = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "portal").glob("*.py"))
        names = set(re.findall(r"TAPOFF_[A-Z0-9_]+", source))
        assert names
        assert [n for n in sorted(names) if n not in HANDBOOK] == []

    def test_gives_every_package_a_reason(self):
        wanted = re.search(r"dependencies = \[(.*?)\n\]", (ROOT / "pyproject.toml").read_text(encoding="utf-8"), re.S)
        assert wanted
        packages = re.findall(r'"([A-Za-z0-9_-]+)', wanted[1])
        assert len(packages) > 10
        reasons = HANDBOOK.split("## Dependencies")[1].split("\n## ")[0].lower()
        assert [p for p in packages if p.lower() not in reasons] == []


class TestTheChecks:
    def test_hold_every_code_that_others_rely_on(self):
        assert set(DESIGN_CODES) <= {code for code, _ in CHECKS}

    def test_have_a_file_of_their_own_name(self):
        folder = ROOT / "submissions" / "engine" / "checks"
        assert all((folder / f"{code.replace('-', '_')}.py").exists() for code, _ in CHECKS)

    def test_stand_once_in_the_list(self):
        codes = [code for code, _ in CHECKS]
        assert len(codes) == len(set(codes))
