"""What is refused at the door: every form of the portal."""

from .corrections import CorrectionsForm
from .desk import (
    DECISION_WORDS,
    CallForm,
    ChairsForm,
    ChangeSegmentForm,
    DecisionForm,
    ExportForm,
    NudgeForm,
    SegmentForm,
    SignInForm,
)
from .players import (
    EntryForm,
    GuardianAddressForm,
    GuardianForm,
    MyPartsForm,
    RenewLinkForm,
    SendTakeForm,
)

__all__ = [
    "DECISION_WORDS",
    "CallForm",
    "ChairsForm",
    "ChangeSegmentForm",
    "CorrectionsForm",
    "DecisionForm",
    "EntryForm",
    "ExportForm",
    "GuardianAddressForm",
    "GuardianForm",
    "MyPartsForm",
    "NudgeForm",
    "RenewLinkForm",
    "SegmentForm",
    "SendTakeForm",
    "SignInForm",
]
