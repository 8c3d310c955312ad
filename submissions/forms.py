"""What is refused at the door: every form of the portal, with the purposes that browsers can fill in by themselves."""

import zoneinfo

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from . import deadlines
from .models import Call, Decision, PartRow

AGE_WORDS = [
    ("", _("please choose")),
    ("0", _("under 13")),
    ("13", "13"),
    ("14", "14"),
    ("15", "15"),
    ("16", _("16 or 17")),
    ("18", _("18 or over")),
]
# Countries whose own age of consent the portal knows as data; everybody else chooses "elsewhere" and gets the most
# careful rule. The list of names only: the ages and their dates stand in the database.
COUNTRY_WORDS = [
    ("", _("another country")),
    ("AT", _("Austria")), ("BE", _("Belgium")), ("CZ", _("Czechia")), ("FI", _("Finland")), ("FR", _("France")),
    ("DE", _("Germany")), ("HU", _("Hungary")), ("IE", _("Ireland")), ("IT", _("Italy")), ("US", _("United States")),
]  # fmt: skip


class EntryForm(forms.Form):
    """Only what is needed to send a take: no account, no birthday."""

    parts = forms.ModelMultipleChoiceField(
        PartRow.objects.none(), label=_("What do you play?"), error_messages={"required": _("Choose at least one part.")}
    )
    display_name = forms.CharField(
        label=_("Your name"), max_length=60, help_text=_("So that the organizer knows whose take it is. A first name is enough."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    credit_name = forms.CharField(
        label=_("Your name in the credits"), max_length=60, required=False,
        help_text=_("Leave it empty if you do not want to be named."),
        widget=forms.TextInput(attrs={"autocomplete": "nickname"}),
    )
    email = forms.EmailField(
        label=_("Your e-mail address"), help_text=_("For your private link and the answer. Nobody else sees it."),
        widget=forms.EmailInput(attrs={"autocomplete": "email", "inputmode": "email"}),
    )
    age_band = forms.ChoiceField(label=_("How old are you?"), choices=AGE_WORDS)
    country = forms.ChoiceField(
        label=_("Where do you live?"), choices=COUNTRY_WORDS, required=False,
        help_text=_("The age from which you may agree alone depends on it."),
        widget=forms.Select(attrs={"autocomplete": "country"}),
    )
    guardian_email = forms.EmailField(
        label=_("E-mail address of a parent or guardian"), required=False,
        help_text=_("Needed when you are too young to agree alone. They get a link of their own."),
        widget=forms.EmailInput(attrs={"autocomplete": "off", "inputmode": "email"}),
    )
    agree = forms.BooleanField(label=_("I have read this and agree."), error_messages={"required": _("Without your yes we may not take your video.")})
    zone = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, call: Call, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["parts"].queryset = PartRow.objects.filter(segment__call=call, offered=True).select_related("segment")

    def clean_zone(self) -> str:
        zone = self.cleaned_data.get("zone", "")
        return zone if zone in zoneinfo.available_timezones() else ""


class MyPartsForm(forms.Form):
    """Which parts a player means to play."""

    parts = forms.ModelMultipleChoiceField(PartRow.objects.none(), required=False)

    def __init__(self, call: Call, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["parts"].queryset = PartRow.objects.filter(segment__call=call, offered=True).select_related("segment")


class SendTakeForm(forms.Form):
    """The plain way to send a video, without any script."""

    video = forms.FileField(
        label=_("Your video"), help_text=_("MP4, MOV, WebM or MKV, as your phone made it. Do not cut it."),
        widget=forms.FileInput(attrs={"accept": "video/*,.mp4,.mov,.m4v,.webm,.mkv,.3gp"}),
        error_messages={"required": _("Choose a video first."), "empty": _("The file is empty.")},
    )
    is_tryout = forms.BooleanField(
        label=_("Only a try-out"), required=False,
        help_text=_("Measured in the same way, shown to nobody but you, deleted after two days."),
    )


class GuardianForm(forms.Form):
    """A guardian's yes."""

    name = forms.CharField(label=_("Your name"), max_length=80, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    agree = forms.BooleanField(label=_("I am this player's parent or guardian, I have read this and I agree."))


class GuardianAddressForm(forms.Form):
    """Another address for the guardian's mail."""

    guardian_email = forms.EmailField(label=_("E-mail address of a parent or guardian"), required=False, widget=forms.EmailInput(attrs={"autocomplete": "off"}))


class RenewLinkForm(forms.Form):
    """Where a new private link goes."""

    email = forms.EmailField(label=_("Your e-mail address"), widget=forms.EmailInput(attrs={"autocomplete": "email", "inputmode": "email"}))


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
    about = forms.CharField(label=_("What will it become?"), max_length=4000, widget=forms.Textarea, help_text=_("The first thing a player reads: two or three sentences."))
    deadline = forms.DateTimeField(
        label=_("Deadline"), input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"],
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"), help_text=_("On the clock of the zone below."),
    )
    deadline_zone = forms.CharField(label=_("Time zone"), widget=forms.TextInput(attrs={"list": "zones", "autocomplete": "off"}), help_text=_("For example Europe/Vienna."))
    fold = forms.ChoiceField(label=_("Which of the two?"), choices=[("", "–"), ("0", _("the earlier")), ("1", _("the later"))], required=False)
    grace_minutes = forms.IntegerField(label=_("Grace for uploads that have begun, in minutes"), min_value=0, max_value=1440, initial=60)
    rules = forms.CharField(label=_("Rules"), required=False, max_length=8000, widget=forms.Textarea, help_text=_("Clothes, background, what to do with the sticks after the last bar."))
    count_off_bars = forms.IntegerField(label=_("Bars of count-off"), min_value=1, max_value=8, initial=2)
    ladder_from_bpm = forms.IntegerField(label=_("Slowest practice tempo"), min_value=30, max_value=240, initial=80)
    ladder_steps = forms.IntegerField(label=_("Practice tempi"), min_value=1, max_value=12, initial=5)
    max_take_minutes = forms.IntegerField(label=_("Longest take in minutes"), min_value=1, max_value=60, initial=10)
    consent_age = forms.IntegerField(label=_("Age from which players may agree alone"), required=False, min_value=13, max_value=21, help_text=_("Empty: as the law of the player's country has it. You can only ask for more."))
    consent_text = forms.CharField(label=_("What players agree to"), max_length=8000, widget=forms.Textarea, help_text=_("A changed text becomes a new version; earlier answers keep theirs."))
    rights_statement = forms.CharField(label=_("Whose music it is, and why you may use it"), required=False, max_length=2000, widget=forms.Textarea, help_text=_("Needed before you publish: who wrote and arranged it, who permits playing it and putting it to a picture."))

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
            self.add_error("fold", str(error))
        except deadlines.NoSuchTime as error:
            self.add_error("deadline", str(error))
        except ValueError as error:
            self.add_error("deadline_zone", str(error))
        return data


class SegmentForm(forms.Form):
    """One piece of the cadence."""

    score = forms.FileField(label=_("MusicXML file"), widget=forms.FileInput(attrs={"accept": ".musicxml,.xml,.mxl"}), help_text=_("All parts in one file: snare, tenors, bass line, cymbals."))
    title = forms.CharField(label=_("Title of the segment"), max_length=120, required=False, help_text=_("Empty: as the file says."))
    times = forms.IntegerField(label=_("How often it is played in the finished running order"), min_value=1, max_value=32, initial=1)


class ChairsForm(forms.Form):
    """How many chairs a part has, and what the organizer tells its players."""

    wanted = forms.IntegerField(label=_("Chairs"), min_value=0, max_value=99)


class DecisionForm(forms.Form):
    """A person's word on a take."""

    word = forms.ChoiceField(label=_("Your decision"), choices=[("accept", _("take it")), ("redo", _("ask to play it again")), ("leave", _("do not use it"))], widget=forms.RadioSelect)
    note = forms.CharField(label=_("To the player"), required=False, max_length=2000, widget=forms.Textarea, help_text=_("Kind, short, and what to do differently."))


class NudgeForm(forms.Form):
    """A shift of a pick."""

    shift_ms = forms.FloatField(label=_("Shift in ms"), min_value=-500, max_value=500, help_text=_("Positive is later."))


class ExportForm(forms.Form):
    """One kind of export."""

    kind = forms.CharField(max_length=32)


DECISION_WORDS = {Decision.Word.ACCEPT: _("The organizer has taken this take."), Decision.Word.REDO: _("The organizer asks you to play it again."), Decision.Word.LEAVE: _("The organizer does not use this take.")}
