"""What players and guardians fill in, with the purposes that browsers can fill in by themselves."""

import zoneinfo

from django import forms
from django.utils.translation import gettext_lazy as _

from ..models import Call, PartRow

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
        PartRow.objects.none(),
        label=_("What do you play?"),
        error_messages={"required": _("Choose at least one part.")},
    )
    display_name = forms.CharField(
        label=_("Your name"),
        max_length=60,
        help_text=_("So that the organizer knows whose take it is. A first name is enough."),
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    credit_name = forms.CharField(
        label=_("Your name in the credits"),
        max_length=60,
        required=False,
        help_text=_("Leave it empty if you do not want to be named."),
        widget=forms.TextInput(attrs={"autocomplete": "nickname"}),
    )
    email = forms.EmailField(
        label=_("Your e-mail address"),
        help_text=_("For your private link and the answer. Nobody else sees it."),
        widget=forms.EmailInput(attrs={"autocomplete": "email", "inputmode": "email"}),
    )
    age_band = forms.ChoiceField(label=_("How old are you?"), choices=AGE_WORDS)
    country = forms.ChoiceField(
        label=_("Where do you live?"),
        choices=COUNTRY_WORDS,
        required=False,
        help_text=_("The age from which you may agree alone depends on it."),
        widget=forms.Select(attrs={"autocomplete": "country"}),
    )
    guardian_email = forms.EmailField(
        label=_("E-mail address of a parent or guardian"),
        required=False,
        help_text=_("Needed when you are too young to agree alone. They get a link of their own."),
        widget=forms.EmailInput(attrs={"autocomplete": "off", "inputmode": "email"}),
    )
    agree = forms.BooleanField(
        label=_("I have read this and agree."),
        error_messages={"required": _("Without your yes we may not take your video.")},
    )
    zone = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, call: Call, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["parts"].queryset = PartRow.objects.filter(segment__call=call, offered=True).select_related(
            "segment"
        )

    def clean_zone(self) -> str:
        zone = self.cleaned_data.get("zone", "")
        return zone if zone in zoneinfo.available_timezones() else ""


class MyPartsForm(forms.Form):
    """Which parts a player means to play."""

    parts = forms.ModelMultipleChoiceField(PartRow.objects.none(), required=False)

    def __init__(self, call: Call, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["parts"].queryset = PartRow.objects.filter(segment__call=call, offered=True).select_related(
            "segment"
        )


class SendTakeForm(forms.Form):
    """The plain way to send a video, without any script."""

    video = forms.FileField(
        label=_("Your video"),
        help_text=_("MP4, MOV, WebM or MKV, as your phone made it. Do not cut it."),
        widget=forms.FileInput(attrs={"accept": "video/*,.mp4,.mov,.m4v,.webm,.mkv,.3gp"}),
        error_messages={"required": _("Choose a video first."), "empty": _("The file is empty.")},
    )
    is_tryout = forms.BooleanField(
        label=_("Only a try-out"),
        required=False,
        help_text=_("Measured in the same way, shown to nobody but you, deleted after two days."),
    )


class GuardianForm(forms.Form):
    """A guardian's yes."""

    name = forms.CharField(label=_("Your name"), max_length=80, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    agree = forms.BooleanField(label=_("I am this player's parent or guardian, I have read this and I agree."))


class GuardianAddressForm(forms.Form):
    """Another address for the guardian's mail."""

    guardian_email = forms.EmailField(
        label=_("E-mail address of a parent or guardian"),
        required=False,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )


class RenewLinkForm(forms.Form):
    """Where a new private link goes."""

    email = forms.EmailField(
        label=_("Your e-mail address"), widget=forms.EmailInput(attrs={"autocomplete": "email", "inputmode": "email"})
    )
