"""Words that views hand to pages and scripts, and small things that several views need."""

from zoneinfo import available_timezones

from django import forms
from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from .. import actions, overview
from ..sentences import in_words

MAIL_WORDS = {
    "verdict": gettext_lazy("the answer to a take"),
    "decision": gettext_lazy("when the organizer asks for another take"),
    "reminder": gettext_lazy("reminders before the deadline"),
    "thanks": gettext_lazy("thanks after the call"),
    "guardian": gettext_lazy("mail to the parent or guardian"),
    "all": gettext_lazy("all mail"),
}


def said(error: actions.Refused) -> str:
    """A refusal in the reader's language."""
    return in_words(str(error))


def field_of(form: forms.Form, error: actions.Refused) -> str | None:
    """The form's own field that a refusal concerns, or the form as a whole."""
    name = {"consent": "agree", "file": "video"}.get(error.field, error.field)
    return name if name in form.fields else None


def remade(what: actions.Remade) -> str:
    """What a new score or a correction set going."""
    said = [_("Kept. Sheet, clicks and guide are being made anew.")]
    if what.measured:
        again = ngettext("%(n)d take is measured again.", "%(n)d takes are measured again.", what.measured)
        said.append(again % {"n": what.measured})
    if what.orphaned:
        gone = ngettext(
            "%(n)d player had chosen a part that is no longer there: write to them.",
            "%(n)d players had chosen a part that is no longer there: write to them.",
            what.orphaned,
        )
        said.append(gone % {"n": what.orphaned})
    return " ".join(said)


def chosen_parts(request: HttpRequest, form: forms.Form, found: list[overview.Voice]) -> set[int]:
    """Which parts are ticked: what was sent, or all segments of the part the player comes from."""
    if form.is_bound:
        return {int(pk) for pk in request.POST.getlist("parts") if pk.isdigit()}
    asked = request.GET.get("part", "")
    for voice in found:
        pks = {now.part.pk for now in voice.parts}
        if asked.isdigit() and int(asked) in pks:
            return pks
    return set()


def sending_texts() -> dict[str, str]:
    """What the sending script says; %s stands for figures."""
    return {
        "percent": _("%s of 100 sent"),
        "speed": _("%s a second"),
        "left": _("about %s left"),
        "seconds": _("%s seconds"),
        "minutes": _("%s minutes"),
        "hours": _("%s hours"),
        "sending": _("Sending"),
        "resumed": _("Going on where it stopped"),
        "paused": _("Paused"),
        "goOn": _("Go on"),
        "pause": _("Pause"),
        "waiting": _("No network. It goes on by itself as soon as there is one."),
        "sent": _("All of it is here. Your answer is being prepared."),
        "kind": _("This kind of file is not taken. Send MP4, MOV, WebM or MKV, as your phone made it."),
        "empty": _("The file is empty."),
        "tooBig": _("The file is too big: %s. At most %s are taken; film in 1080p, not in 4K."),
        "tooLong": _("The video is too long: %s. Longer than %s is not taken."),
        "tooShort": _("The video is only %s long; the part takes longer. Is it the right file?"),
        "portrait": _("The picture is higher than it is wide. Turn the phone on its side and film again."),
        "noSound": _("The video has no sound. Check that the camera may use the microphone and film again."),
        "unreadable": _(
            "Your browser cannot open this file, so we could not look at it first. You can send it all the same."
        ),
        "anyway": _("Send it all the same"),
        "refused": _("The server did not take it: %s"),
    }


def recording_texts() -> dict[str, str]:
    """What the recording script says."""
    return sending_texts() | {
        "cannot": _("This browser cannot film here. Film with your camera app and send the file instead."),
        "denied": _(
            "The browser may not use camera and microphone. Allow it in the address bar, or film with your camera app."
        ),
        "raw": _("The sound is recorded as it is."),
        "notRaw": _(
            "This browser changes the sound by itself (%s). Film with your camera app instead if the answer complains."
        ),
        "portraitNow": _("Turn the phone on its side."),
        "ready": _("Camera and microphone are ready."),
        "marks": _("Chirps: hold one earphone to the phone"),
        "headphones": _("Headphones on"),
        "playing": _("Play. The chirps come again after the last bar: keep still until then."),
        "kept": _("The take is kept on this device and is being sent."),
        "finished": _("Done. Look at it: send it, or play it again."),
        "found": _("A take that was filmed here has not been sent yet."),
        "echoCancellation": _("echo cancelling"),
        "noiseSuppression": _("noise suppression"),
        "autoGainControl": _("gain control"),
        "quiet": _("We hear almost nothing. Is the microphone covered?"),
        "loud": _("It is too loud for the microphone. Move the phone further away."),
        "level": _("The level is good."),
        "few": _("The camera makes only %s pictures a second: give it more light."),
    }


def zones() -> list[str]:
    """IANA zones that a person would choose, for the form's suggestions."""
    return sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith(("Etc/", "SystemV/")))


def consent_proposal() -> str:
    """A first text for the organizer to change; no legal advice."""
    return _(
        "I agree that my take is stored and measured, that the organizer and the editors of this call watch it, and that it "
        "may become part of the finished group video, which is published. I can take this back at any time; my files are "
        "then deleted. Parts of me that are already in a published video may stay in it."
    )
