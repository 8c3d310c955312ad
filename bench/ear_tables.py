"""The tables of the ear's bench as text, from rows of ear_takes. Each table is a function of rows, and a line of bars."""

from collections.abc import Iterable, Sequence

import numpy as np

from submissions.engine.rehearsal.scoring import KINDS, Score

from .ear_takes import Row

NAMES = ("tapoff", "librosa onset, hop 512", "librosa onset, hop 64", "SuperFlux (librosa)")
FAR_MS = 60.0  # an error past which an editor would hear the wrong place


PAGE = """# The ear beside general libraries

Made by `{command} --page docs/bench-ear.md` (`make bench-ear` prints the same tables). Nothing on this page is written by hand.

Seeds from 900 000 on were never used while tuning. Takes are made with known truth: modelled kits and, in half of them, real
single hits where some are installed; rooms, phones, codecs, noise, talk and players differ from take to take. "Bar" is what the
project asks of itself. F is the mean over takes, in brackets over all strokes pooled. Insides of buzzes and broken-off first goes
do not count. Where only strokes or a count-off tell zero, its error is told from zero plus the player's own push. Clicks and marks
reach the microphone through modelled headphones, speakers and phones, whose filters delay them by about 0.1 ms: that much of a true
zero's error is the device's own. CPU times hold only where nothing else ran on the machine. madmom is not among the libraries: its
last release does not install on this Python.

"""


def page(command: str, said: Sequence[str]) -> str:
    """The whole page: what was run, then everything that was said."""
    return PAGE.format(command=command) + "\n".join(text.rstrip() + "\n" for text in said)


def table(title: str, head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table under its title."""
    lines = [f"### {title}", "", "| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def _some(values: Sequence[float], *shares: float) -> str:
    """Quantiles of absolute values, or a dash."""
    if not values:
        return "-"
    return " / ".join(f"{q:.3g}" for q in np.quantile(np.abs(values), shares))


def onsets(rows: list[Row]) -> str:
    """Onset F and recalls, the libraries side by side, and what each costs."""
    minutes = sum(row["minutes"] for row in rows)
    lines = []
    for name in NAMES:
        heard = [row["heard"][name] for row in rows]
        fs = [np.mean([one["f"][k].f for one in heard]) for k in (0, 1)]
        pooled = [sum((one["f"][k] for one in heard), Score()).f for k in (0, 1)]
        recalls = [sum((one["kinds"][kind] for one in heard), Score()).recall for kind in KINDS]
        cost = sum(one["cpu_s"] for one in heard) / minutes
        lines.append([
            name, *(f"{a:.3f} ({b:.3f})" for a, b in zip(fs, pooled, strict=True)), " / ".join(f"{r:.2f}" for r in recalls), f"{cost:.2f}",
        ])  # fmt: skip
    lines.append(["bar", "0.93", "0.92", ".99 / .80 / .80", "0.5"])
    head = (
        "detector",
        "F at 25 ms: mean (pooled)",
        "F at 10 ms",
        "recall at 25 ms: main / grace / inner roll",
        "CPU s a minute",
    )
    return table(f"Onsets: {len(rows)} takes, {minutes:.0f} minutes", head, lines)


def parts_of_onsets(rows: list[Row]) -> str:
    """Tapoff's onset F by instrument, by skill, by sort of kit."""
    lines = []
    for what in ("instrument", "skill", "real", "way"):
        for value in sorted({row[what] for row in rows}, key=str):
            own = [row for row in rows if row[what] == value]
            fs = [np.mean([row["heard"]["tapoff"]["f"][k].f for row in own]) for k in (0, 1)]
            recalls = [sum((row["heard"]["tapoff"]["kinds"][kind] for row in own), Score()).recall for kind in KINDS]
            name = f"{what}: {value}" if what != "real" else ("real hits" if value else "modelled kits")
            lines.append([name, str(len(own)), *(f"{f:.3f}" for f in fs), " / ".join(f"{r:.2f}" for r in recalls)])
    return table(
        "Tapoff's onsets by kind of take", ("takes", "n", "F at 25 ms", "F at 10 ms", "main / grace / inner"), lines
    )


def timing(rows: list[Row]) -> str:
    """Error of the played time of matched strokes."""
    errors = [ms for row in rows for ms in row["late_ms"]]
    signed = float(np.median(errors)) if errors else float("nan")
    lines = [["all", str(len(errors)), _some(errors, 0.5, 0.9, 0.99), f"{signed:+.2f}"], ["bar", "", "1", ""]]
    return table(
        "Played time of matched strokes, ms",
        ("", "strokes", "median / 90 % / 99 % of the absolute error", "median"),
        lines,
    )


def zero(rows: list[Row]) -> str:
    """Zero by what told it. Where only strokes tell it, the aim is zero plus the player's own bias."""
    lines = []
    for source in ("marks", "click", "count-off", "written", "none"):
        own = [row for row in rows if row["source"] == source]
        errors = [row["error_ms"] for row in own if row["error_ms"] is not None]
        if own:
            far = [row for row in own if row["error_ms"] is None or abs(row["error_ms"]) > FAR_MS]
            sure = sum(row["sure"] for row in far)
            lines.append(
                [
                    source,
                    str(len(own)),
                    _some(errors, 0.5, 0.9, 0.99),
                    f"{len(far)} ({len(far) / len(own):.1%})",
                    str(sure),
                ]
            )
    lines.append(["bar: written", "", "1 / 3.5 / 10", "0.2%", "0"])
    head = (
        "found by",
        "takes",
        "error ms: median / 90 % / 99 %",
        f"over {FAR_MS:.0f} ms or none",
        "of these called sure",
    )
    return table("Zero (written and count-off: zero plus bias)", head, lines)


def one_way(title: str, rows: list[Row], source: str, bar: str) -> str:
    """True zero where one thing tells it: errors over all takes, and how often that thing was found."""
    errors = [row["true_error_ms"] for row in rows if row["true_error_ms"] is not None]
    found = [row for row in rows if row["source"] == source]
    of_found = [row["true_error_ms"] for row in found]
    clock = [row["clock_ppm"] for row in found if row["clock_ppm"] is not None]
    lines = [
        ["found", f"{len(found)} of {len(rows)} ({len(found) / max(1, len(rows)):.0%})"],
        ["true zero, all takes, ms: median / 90 % / 99 %", _some(errors, 0.5, 0.9, 0.99)],
        [f"true zero where found by {source}, ms", _some(of_found, 0.5, 0.9, 0.99)],
        ["clock ratio, ppm: median / 90 %", _some(clock, 0.5, 0.9)],
        ["bar", bar],
    ]
    return table(title, ("", ""), lines)


def calibration(rows: list[Row]) -> str:
    """Share of takes whose error lies within two of the uncertainties they were given."""
    lines = []
    for source in ("marks", "click", "count-off", "written"):
        own = [row for row in rows if row["source"] == source and row["sd_s"] and row["error_ms"] is not None]
        if own:
            ratio = [abs(row["error_ms"]) / (1e3 * row["sd_s"]) for row in own]
            lines.append([source, str(len(own)), f"{np.mean(np.array(ratio) <= 2):.1%}", f"{np.median(ratio):.2f}"])
    lines.append(["bar", "", "93 to 98%", "0.67 for a normal error"])
    return table("Calibration: error within 2 sd", ("zero by", "takes", "share", "median error over sd"), lines)


def verdicts(rows: list[Row]) -> str:
    """What is said of good and of faulty takes."""
    good, bad = [row for row in rows if not row["fault"]], [row for row in rows if row["fault"]]
    usable = [row for row in good if (row["spread_ms"] or 0.0) < 35.0]
    redone = [row for row in usable if row["redo"]]
    looked = [row for row in usable if row["look"] and not row["redo"]]
    far = [
        row for row in rows if row["source"] in ("written", "count-off", "none") and _astray(row) and not row["fault"]
    ]
    warned = [row for row in far if "unsure-of-zero" in row["look"] + row["redo"]]
    trusted = [row for row in rows if row["sure"] and row["error_ms"] is not None and abs(row["error_ms"]) > FAR_MS]
    lines = [
        ["good takes called redo", f"{len(redone)} of {len(usable)}", "0", _seeds(redone)],
        ["good takes called look", f"{len(looked)} of {len(usable)}", "", _codes(looked)],
        [
            "zero over 20 ms wrong, unsure-of-zero given",
            f"{len(warned)} of {len(far)}",
            "all",
            _seeds([r for r in far if r not in warned]),
        ],
    ]
    lines.append(
        [f"zero over {FAR_MS:.0f} ms wrong and called sure", f"{len(trusted)} of {len(rows)}", "0", _seeds(trusted)]
    )
    for fault in sorted({row["fault"] for row in bad}):
        own = [row for row in bad if row["fault"] == fault]
        found = [row for row in own if fault in row["redo"] + row["look"]]
        lines.append([fault, f"{len(found)} of {len(own)}", "98%", _seeds([row for row in own if row not in found])])
    return table(
        f"Verdicts: {len(good)} good takes, {len(bad)} faulty ones", ("what", "count", "bar", "seeds or codes"), lines
    )


def _astray(row: Row) -> bool:
    return row["error_ms"] is None or abs(row["error_ms"]) > 20.0


def _seeds(rows: list[Row]) -> str:
    return ", ".join(f"{row['seed']}{(' ' + '+'.join(row['redo'])) if row.get('redo') else ''}" for row in rows[:8])


def _codes(rows: list[Row]) -> str:
    codes = [code for row in rows for code in row["look"]]
    return ", ".join(f"{code} {codes.count(code)}" for code in sorted(set(codes)))


def _say(row: Row) -> str:
    return f"{row['seed']} {row['instrument']} {row['drum']} {row['kit']} {row['skill']} {row['way']}>{row['source']}"


def worst(rows: list[Row]) -> str:
    """The takes to look at first: zero furthest away, and the lowest onset scores."""
    by_error = sorted((row for row in rows if row["error_ms"] is not None), key=lambda row: -abs(row["error_ms"]))[:6]
    by_f = sorted((row for row in rows if "heard" in row), key=lambda row: row["heard"]["tapoff"]["f"][0].f)[:6]
    lines = [[_say(row), f"{row['error_ms']:+.1f} ms", "sure" if row["sure"] else ""] for row in by_error]
    lines += [[_say(row), f"F {row['heard']['tapoff']['f'][0].f:.2f}", ""] for row in by_f]
    return table("Worst takes", ("seed, instrument, kit, player, zero asked > found", "", ""), lines)
