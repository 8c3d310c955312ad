"""What a probe gives back: facts, findings, verdict, cost; and the one object of the command line."""

from dataclasses import dataclass
from typing import Any

from .facts import TakeFacts
from .findings import Finding, Verdict, verdict_of


@dataclass(frozen=True)
class Report:
    """The answer to one take. versions name what computed it; cpu_s includes the reading child's."""

    facts: TakeFacts
    findings: tuple[Finding, ...]
    versions: dict[str, str]
    cpu_s: float
    wall_s: float

    @property
    def verdict(self) -> Verdict:
        return verdict_of(self.findings)

    @property
    def codes(self) -> frozenset[str]:
        return frozenset(finding.code for finding in self.findings)

    def to_json_object(self) -> dict[str, Any]:
        """The stable interface: plain numbers, strings, lists; times in float seconds of file time."""
        facts = self.facts
        zero, strokes, timing, container = facts.zero, facts.strokes, facts.timing, facts.container
        return {
            "verdict": str(self.verdict),
            "zero_s": _rounded(zero.zero_s, 7),
            "zero_from": zero.source,
            "zero_sd_s": _rounded(zero.sd_s, 7),
            "zero_sure": zero.sure,
            "runner_up_zero_s": _rounded(zero.runner_up_s, 6),
            "clock_ratio": _rounded(zero.clock_ratio, 9),
            "clock_known": zero.clock_known,
            "tempo_ratio": _rounded(zero.tempo_ratio, 6),
            "late_bars": zero.late_bars,
            "bias_ms": _rounded(timing.bias_ms, 3),
            "spread_ms": _rounded(timing.spread_ms, 3),
            "written": strokes.written,
            "matched": strokes.matched,
            "missed": strokes.missed,
            "extra": len(strokes.extra_s),
            "explained_share": _rounded(strokes.explained_share, 4),
            "strokes": [
                {
                    "bar": stroke.bar,
                    "count": stroke.count,
                    "kind": stroke.kind,
                    "written_s": _rounded(stroke.written_s, 6),
                    "played_s": _rounded(stroke.played_s, 6),
                    "late_ms": _rounded(stroke.late_ms, 3),
                }
                for stroke in strokes.strokes
            ],
            "heard_s": [round(float(at), 6) for at in strokes.heard_s],
            "container": {
                "kind": container.kind,
                "duration_s": _rounded(container.duration_s, 4),
                "width": container.width,
                "height": container.height,
                "rotation": container.rotation,
                "fps": _rounded(container.fps, 4),
                "variable_fps": container.variable_fps,
                "video_codec": container.video_codec,
                "audio_codec": container.audio_codec,
                "sample_rate": container.sample_rate,
                "channels": container.channels,
                "sound_start_s": _rounded(container.sound_start_s, 6),
                "picture_start_s": _rounded(container.picture_start_s, 6),
            },
            "level": {
                "lufs": _rounded(facts.level.lufs, 2),
                "true_peak_db": _rounded(facts.level.true_peak_db, 2),
                "noise_db": _rounded(facts.level.noise_db, 1),
                "clipped_share": _rounded(facts.level.clipped_share, 4),
                "click_under_drums_db": _rounded(facts.level.click_under_drums_db, 1),
            },
            "timing": {
                "by_bar": [[bar, round(mean, 2), round(spread, 2), n] for bar, mean, spread, n in timing.by_bar],
                "by_count": [[name, round(mean, 2), round(spread, 2), n] for name, mean, spread, n in timing.by_count],
                "by_hand": [[hand, round(mean, 2), round(spread, 2), n] for hand, mean, spread, n in timing.by_hand],
                "worst_bars": list(timing.worst_bars),
                "best_bars": list(timing.best_bars),
            },
            "sound_late_ms": _rounded(facts.motion.sound_late_ms, 2),
            "sound_late_sd_ms": _rounded(facts.motion.sd_ms, 2),
            "sound_late_beyond_ms": _rounded(facts.motion.beyond_ms, 2),
            "findings": [
                {"code": f.code, "level": str(f.level), "says": f.says, "do": f.do, "at_s": [round(float(at), 3) for at in f.at_s]}
                for f in self.findings
            ],
            "versions": self.versions,
            "cost": {"cpu_s": round(self.cpu_s, 4), "wall_s": round(self.wall_s, 4)},
        }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)
