"""Files of the portal: always through Django's storage interface, always under generated names."""

import hashlib
import secrets
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage

CHUNK = 1024 * 1024
VIDEO_KINDS = (".mp4", ".m4v", ".mov", ".webm", ".mkv", ".3gp")  # what phones and browsers record


class SpooledFile(File):
    """A file on this disk that the storage may take over: a local store moves it, others read it as a stream."""

    def temporary_file_path(self) -> str:
        return str(self.name)


def kind_of(filename: str) -> str:
    """The file's ending in lower case if it is one that is taken, else ""."""
    name = filename.replace("\x00", "").rstrip(". ").lower()
    ending = Path(name).suffix
    return ending if ending in VIDEO_KINDS else ""


def plain_name(filename: str) -> str:
    """A sent file name without folders, control and direction characters, at most 120 long: for reading only."""
    name = filename.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in name if c.isprintable())[-120:]


def sha256_of(path: Path) -> str:
    """SHA-256 of the file, hexadecimal, read in pieces."""
    digest = hashlib.sha256()
    with open(path, "rb") as file:
        while piece := file.read(CHUNK):
            digest.update(piece)
    return digest.hexdigest()


def store(path: Path, folder: str, ending: str) -> str:
    """Hand the file over to the storage under a new random name; returns its key. The file may be moved away."""
    key = f"{folder}/{secrets.token_hex(16)}{ending}"
    with open(path, "rb") as raw:
        return default_storage.save(key, SpooledFile(raw, name=str(path)))


def store_bytes(content: bytes, folder: str, ending: str) -> str:
    """Store small content under a new random name; returns its key."""
    return default_storage.save(f"{folder}/{secrets.token_hex(16)}{ending}", ContentFile(content))


def read_bytes(key: str) -> bytes:
    """The whole of a small stored file."""
    with default_storage.open(key) as file:
        return file.read()


def remove(*keys: str) -> None:
    """Delete stored files; a missing one is no error."""
    for key in keys:
        if key:
            default_storage.delete(key)


@contextmanager
def local_copy(key: str) -> Iterator[Path]:
    """A path on this disk with the stored file's content, for the length of the block."""
    try:
        yield Path(default_storage.path(key))
        return
    except NotImplementedError:
        pass
    settings.SPOOL_DIR.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=settings.SPOOL_DIR) as folder:
        path = Path(folder) / f"file{Path(key).suffix}"
        with default_storage.open(key) as source, open(path, "wb") as target:
            shutil.copyfileobj(source, target, CHUNK)
        yield path


def spool_path(public_id: str) -> Path:
    """Where the bytes of an unfinished upload lie."""
    return Path(settings.SPOOL_DIR) / f"{public_id}.part"
