"""What organizers and editors fill in."""

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from .. import deadlines
from ..models import Decision
from ..sentences import in_words
from ..templatetags.words import DECIDED


class SignInForm(AuthenticationForm):
    """Organizers and editors; players need no sign-in."""

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Name")
        self.fields["password"].label = _("Password")
        self.fields["username"].widget.attrs.pop("autofocus", None)


class CallForm(forms.Form):
    """What an organizer says of a call."""

    title = forms.CharField(label=pgettext_lazy("of a call", "Title"), max_length=120)
    about = forms.CharField(
        label=_("What will it become?"),
        max_length=4000,
        widget=forms.Textarea,
        help_text=_("The first thing a player reads: two or three sentences."),
    )
    deadline = forms.DateTimeField(
        label=_("Deadline"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"],
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text=_("On the clock of the zone below."),
    )
    deadline_zone = forms.CharField(
        label=_("Time zone"),
        widget=forms.TextInput(attrs={"list": "zones", "autocomplete": "off"}),
        help_text=_("For example Europe/Vienna."),
    )
    fold = forms.ChoiceField(
        label=_("Which of the two?"),
        choices=[("", "–"), ("0", _("the earlier")), ("1", _("the later"))],
        required=False,
    )
    grace_minutes = forms.IntegerField(
        label=_("Grace for uploads that have begun, in minutes"), min_value=0, max_value=1440, initial=60
    )
    rules = forms.CharField(
        label=_("Rules"),
        required=False,
        max_length=8000,
        widget=forms.Textarea,
        help_text=_("Clothes, background, what to do with the sticks after the last bar."),
    )
    count_off_bars = forms.IntegerField(label=_("Bars of count-off"), min_value=1, max_value=8, initial=2)
    ladder_from_bpm = forms.IntegerField(label=_("Slowest practice tempo"), min_value=30, max_value=240, initial=80)
    ladder_steps = forms.IntegerField(label=_("Practice tempi"), min_value=1, max_value=12, initial=5)
    max_take_minutes = forms.IntegerField(label=_("Longest take in minutes"), min_value=1, max_value=60, initial=10)
    consent_age = forms.IntegerField(
        label=_("Age from which players may agree alone"),
        required=False,
        min_value=13,
        max_value=21,
        help_text=_("Empty: as the law of the player's country has it. You can only ask for more."),
    )
    consent_text = forms.CharField(
        label=_("What players agree to"),
        max_length=8000,
        widget=forms.Textarea,
        help_text=_("A changed text becomes a new version; earlier answers keep theirs."),
    )
    rights_statement = forms.CharField(
        label=_("Whose music it is, and why you may use it"),
        required=False,
        max_length=2000,
        widget=forms.Textarea,
        help_text=_(
            "Needed before you publish: who wrote and arranged it, who permits playing it and putting it to a picture."
        ),
    )

    def clean(self) -> dict:
        """The deadline becomes one instant; a time that happens twice or never is asked about."""
        data = super().clean()
        local, zone = data.get("deadline"), data.get("deadline_zone")
        if not local or not zone:
            return data
        fold = data.get("fold")
        try:
            data["deadline"] = deadlines.instant(local.replace(tzinfo=None), zone, int(fold) if fold else None)
        except deadlines.TwoSuchTimes as error:
            self.add_error("fold", in_words(str(error)))
        except deadlines.NoSuchTime as error:
            self.add_error("deadline", in_words(str(error)))
        except ValueError as error:
            self.add_error("deadline_zone", in_words(str(error)))
        return data


class SegmentForm(forms.Form):
    """One piece of the cadence."""

    score = forms.FileField(
        label=_("MusicXML file"),
        widget=forms.FileInput(attrs={"accept": ".musicxml,.xml,.mxl"}),
        help_text=_("All parts in one file: snare, tenors, bass line, cymbals."),
    )
    title = forms.CharField(
        label=_("Title of the segment"), max_length=120, required=False, help_text=_("Empty: as the file says.")
    )
    times = forms.IntegerField(
        label=_("How often it is played in the finished running order"), min_value=1, max_value=32, initial=1
    )


class ChangeSegmentForm(SegmentForm):
    """What may be changed of a piece that is in; no file keeps the score that is there."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["score"].required = False
        self.fields["score"].label = _("New MusicXML file")
        self.fields["score"].help_text = _("Empty: the score stays as it is.")
        self.fields["title"].help_text = _("Empty: the title stays as it is.")


class ChairsForm(forms.Form):
    """How many chairs a part has, and what the organizer tells its players."""

    wanted = forms.IntegerField(label=_("Chairs"), min_value=0, max_value=99)


class DecisionForm(forms.Form):
    """A person's word on a take."""

    word = forms.ChoiceField(
        label=_("Your decision"),
        choices=list(DECIDED.items()),
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        label=_("To the player"),
        required=False,
        max_length=2000,
        widget=forms.Textarea,
        help_text=_("Kind, short, and what to do differently."),
    )


class NudgeForm(forms.Form):
    """A shift of a pick."""

    shift_ms = forms.FloatField(
        label=_("Shift in ms"), min_value=-500, max_value=500, help_text=_("Positive is later.")
    )


class ExportForm(forms.Form):
    """One kind of export."""

    kind = forms.CharField(max_length=32)


DECISION_WORDS = {
    Decision.Word.ACCEPT: _("The organizer has taken this take."),
    Decision.Word.REDO: _("The organizer asks you to play it again."),
    Decision.Word.LEAVE: _("The organizer does not use this take."),
}
