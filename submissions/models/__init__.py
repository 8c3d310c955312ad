"""Tables, querysets and constraints. No signals: what happens on a write is written in actions and tasks."""

from .calls import AgeOfConsent, Call, Chair, ConsentText, PartRow, Segment
from .desk import Decision, Export, Nudge, Pick
from .entries import AgeBand, Consent, Entry, MagicLink, MailLog
from .takes import PerformanceKey, Preview, ProbeReport, Take, Upload

__all__ = [
    "AgeBand",
    "AgeOfConsent",
    "Call",
    "Chair",
    "Consent",
    "ConsentText",
    "Decision",
    "Entry",
    "Export",
    "MagicLink",
    "MailLog",
    "Nudge",
    "PartRow",
    "PerformanceKey",
    "Pick",
    "Preview",
    "ProbeReport",
    "Segment",
    "Take",
    "Upload",
]
