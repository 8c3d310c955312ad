"""Container facts in words, for a person: one line a fact, only what the file really says."""

from ..facts import ContainerFacts, Span


def described(facts: ContainerFacts) -> tuple[tuple[str, str], ...]:
    """(label, words) in reading order."""
    lines = [
        ("File", f"{facts.kind or 'unknown'}, {facts.bytes / 1e6:.1f} MB, {facts.duration_s:.2f} s{_header(facts)}"),
        ("Picture", _picture(facts)),
        ("Frame rate", _rate(facts)),
        ("Sound", _sound(facts)),
        ("Start", _start(facts)),
        ("Missing", "; ".join(_span(span) for span in facts.dropped)),
        ("End", "cut off in the middle" if facts.cut_off else ""),
    ]
    return tuple((label, words) for label, words in lines if words)


def _header(facts: ContainerFacts) -> str:
    said = facts.header_duration_s
    if said is None:
        return " (counted; the file itself does not say)"
    return f" (the file itself says {said:.2f} s)" if abs(said - facts.duration_s) > 0.5 else ""


def _picture(facts: ContainerFacts) -> str:
    if not facts.has_picture:
        return "none"
    words = [f"{facts.video_codec}, {facts.width} x {facts.height}"]
    if facts.rotation:
        words.append(f"turned by {facts.rotation} degrees")
    if facts.pixel_aspect and abs(facts.pixel_aspect - 1.0) > 1e-3:
        words.append(f"pixel aspect {facts.pixel_aspect:.3f}")
    words += [word for word, true in (("interlaced", facts.interlaced), ("high dynamic range", facts.hdr)) if true]
    if facts.bit_rate:
        words.append(f"{facts.bit_rate / 1e6:.1f} Mb/s in all")
    return ", ".join(words)


def _rate(facts: ContainerFacts) -> str:
    if not facts.fps:
        return ""
    if not facts.variable_fps:
        return f"{facts.fps:.3f} a second, constant"
    gap, at_s = facts.largest_gap_s or 0.0, facts.largest_gap_at_s or 0.0
    return f"{facts.fps:.2f} a second on average, variable; longest gap {1000 * gap:.0f} ms at {at_s:.2f} s"


def _sound(facts: ContainerFacts) -> str:
    if not facts.has_sound:
        return "none"
    channels = {1: "mono", 2: "stereo"}.get(facts.channels or 0, f"{facts.channels} channels")
    words = f"{facts.audio_codec}, {facts.sample_rate} Hz, {channels}"
    return words + (f", {facts.priming_samples} priming samples left out" if facts.priming_samples else "")


def _start(facts: ContainerFacts) -> str:
    if facts.sound_start_s is None or facts.picture_start_s is None:
        return ""
    apart = facts.picture_start_s - facts.sound_start_s
    if abs(apart) < 0.001:
        return "sound and picture start together"
    return f"the picture starts {abs(apart):.3f} s {'after' if apart > 0 else 'before'} the sound"


def _span(span: Span) -> str:
    return f"nothing from {span.start_s:.2f} s to {span.end_s:.2f} s"
