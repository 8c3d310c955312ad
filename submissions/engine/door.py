"""What is refused before anything reads the file: its name, its size, its first bytes, the room on the disk.

Each function returns None, or the sentence that is said to the player. A name is only ever looked at here and shown
back, escaped; it never becomes a path, a command or an option. The cases follow the OWASP File Upload cheat sheet and
ASVS 5.0 (5.2.1, 5.2.2, 5.3.2).
"""

import shutil
import stat
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from .media import brand_of

FAMILIES = {
    ".mp4": "mp4",
    ".m4v": "mp4",
    ".mov": "mp4",
    ".qt": "mp4",
    ".3gp": "mp4",
    ".3g2": "mp4",
    ".mkv": "mkv",
    ".webm": "mkv",
}
READ = "mp4, mov, 3gp, mkv and webm"
OLD = {
    ".avi": "AVI files keep no exact times",
    ".ts": "TS files are made for broadcasting",
    ".mts": "MTS files are made for broadcasting",
    ".m2ts": "M2TS files are made for broadcasting",
    ".mpg": "MPG files are made for discs",
    ".wmv": "WMV files are not read here",
    ".flv": "FLV files are not read here",
}
SOUND_ONLY = {".mp3", ".m4a", ".wav", ".aac", ".ogg", ".opus", ".flac", ".caf"}
LONGEST_NAME = 255  # what common file systems allow, in characters
# Cc: control characters with NUL; Cf: invisible ones, with those that turn the reading direction; Cs, Co, Cn: none at all.
INVISIBLE = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
JOINERS = "\u200c\u200d"  # invisible too, and part of Persian words and of many emoji
SMALLEST_BYTES = 1_024  # no video is smaller
STILLS = (b"heic", b"heix", b"mif1", b"msf1", b"avif", b"avis")  # ISO brands of still pictures (ISO/IEC 23008-12)
HEAD_BYTES = 4_096


@dataclass(frozen=True, slots=True)
class DoorRules:
    """What the organizer and the host set."""

    most_bytes: int = 2 << 30  # 90 s at 4K60 are 0.6 to 0.9 GB
    longest_s: float = 600.0
    keep_free_bytes: int = 2 << 30  # left on the disk for everybody else


def refused_name(name: str) -> str | None:
    """Whether a file of this name is refused, and why; only the last ending counts, whatever its case."""
    if not name or name != name.strip() or name.endswith("."):
        return "The file needs a name that begins and ends with a letter or a digit."
    if len(name) > LONGEST_NAME:
        return f"The file's name is longer than {LONGEST_NAME} characters; give it a short one."
    if any(c in name for c in "/\\") or ".." in name:
        return "The file's name holds a path; give it a plain name."
    if any(unicodedata.category(c) in INVISIBLE and c not in JOINERS for c in name):
        return "The file's name holds invisible characters; give it a plain name."
    return _refused_ending(Path(name).suffix.lower())


def _refused_ending(ending: str) -> str | None:
    if ending in FAMILIES:
        return None
    if ending in OLD:
        return f"{OLD[ending]}. Send the video as the phone saved it: {READ} are read."
    if ending in SOUND_ONLY:
        return "This is a sound file. Send the video."
    return f"Files ending in {ending or 'nothing'} are not taken: {READ} are read."


def refused_size(size: int, rules: DoorRules) -> str | None:
    """Whether a file of so many bytes is refused."""
    if size < SMALLEST_BYTES:
        return "The file is empty, or nearly so. Check that it plays on your device and send it again."
    if size > rules.most_bytes:
        return f"The file has {size / 1e9:.2f} GB; at most {rules.most_bytes / 1e9:.2f} GB are taken. Film at 1080p."
    return None


def refused_length(duration_s: float, rules: DoorRules) -> str | None:
    """Whether a take of this length is refused; asked after the probe has counted it."""
    if duration_s > rules.longest_s:
        return f"The take lasts {duration_s / 60:.1f} minutes; at most {rules.longest_s / 60:.0f} are taken. Cut it or film only this part."
    return None


def refused_space(folder: Path, coming_bytes: int, rules: DoorRules) -> str | None:
    """Whether the disk has no room for so many bytes more."""
    if shutil.disk_usage(folder).free - coming_bytes < rules.keep_free_bytes:
        return "There is no room for this file at the moment. Nothing is lost: try again in an hour; the organizer has been told."
    return None


def refused_content(path: Path, name: str) -> str | None:
    """Whether what the file holds is refused: nothing that is read here, or not what its name says."""
    facts = path.lstat()
    if not stat.S_ISREG(facts.st_mode):
        return "This is not an ordinary file."
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    brand = brand_of(head[:64])
    if not brand:
        return f"This is not a video, whatever its name says: {READ} are read."
    if head[4:8] == b"ftyp" and head[8:12] in STILLS:
        return "This is a still picture. Send the video."
    family = "mkv" if brand in ("mkv", "webm") else "mp4"
    said = FAMILIES.get(Path(name).suffix.lower())
    if said != family:
        return f"The name ends in {Path(name).suffix}, but the file is {brand}. Send the file under its own name."
    return None


def refused_at_the_door(path: Path, name: str, rules: DoorRules) -> str | None:
    """The first reason to refuse a file that has arrived, or None."""
    for sentence in (refused_name(name), refused_size(path.lstat().st_size, rules)):
        if sentence is not None:
            return sentence
    return refused_content(path, name)
