"""One general sentence for every code of a finding, without figures: said where the check's own sentence is not known.

A report that was stored by an older version may hold such sentences; its reader still meets no foreign language.
"""

from typing import Any

from django.utils.translation import gettext_lazy as _

MAKE_SURE_SOUND = _("Record ten seconds, listen to them, then record again.")

WORDS: dict[str, tuple[Any, Any]] = {
    "unreadable": (
        _("The file could not be read."),
        _("Send the video as your camera made it, without cutting or converting it."),
    ),
    "no-audio": (_("The video has no sound."), MAKE_SURE_SOUND),
    "no-picture": (_("The file has no picture."), _("Send a video, not a sound recording.")),
    "silent": (_("Nothing can be heard in it."), MAKE_SURE_SOUND),
    "too-quiet": (
        _("The drums are very quiet."),
        _("Put the phone nearer and see that nothing covers the microphone."),
    ),
    "clipped": (
        _("The microphone was overloaded."),
        _("Move the phone further away or lay a thin cloth over its microphone."),
    ),
    "noisy": (_("Noise covers part of the strokes."), _("Record in a quieter room, with fans and traffic shut out.")),
    "click-audible": (
        _("The click can be heard in the recording."),
        _("Use wired headphones and keep the click only as loud as you need."),
    ),
    "not-this-part": (
        _("This does not sound like the part it was sent for."),
        _("Check the part and the segment, then send the right take."),
    ),
    "wrong-tempo": (_("This was played at another tempo."), _("Record with the click of the full tempo.")),
    "drifts": (
        _("In the course of the take you leave the click."),
        _("Make the click a little louder and practise with it more slowly first."),
    ),
    "starts-late": (
        _("The playing begins whole bars away from where it should."),
        _("Count the count-off aloud once and come in on the next downbeat."),
    ),
    "incomplete": (_("A stretch of the part is missing."), _("Record the part from the first bar to the last.")),
    "unsure-of-zero": (
        _("It is not certain where bar 1 begins."),
        _("A person will look. Next time let the camera hear the chirps."),
    ),
    "loose-timing": (
        _("The strokes lie widely around the beat."),
        _("Practise the two bars named below more slowly, then climb."),
    ),
    "still-picture": (_("The picture never changes."), _("Send the video, not a photo with sound.")),
    "frozen-picture": (
        _("The picture stands still for a while."),
        _("Close other apps, free some space on the phone and record again."),
    ),
    "black-picture": (_("The picture is black."), _("See that nothing covers the camera and record again.")),
    "dark-picture": (_("The picture is very dark."), _("Let light fall on you from the front.")),
    "portrait": (_("The picture is higher than it is wide."), _("Turn the phone on its side and record again.")),
    "small-picture": (_("The picture is small."), _("Set the camera to 1080p and send the original file.")),
    "low-frame-rate": (
        _("The picture has too few frames a second."),
        _("Set the camera to 30 frames a second and give it more light."),
    ),
    "variable-frame-rate": (_("The frame rate changes."), _("You need do nothing; the editor allows for it.")),
    "sound-picture-apart": (_("Sound and picture are apart."), _("Send the original file from the camera.")),
    "copy-of-a-take": (
        _("This is the same performance as another take."),
        _("If you sent the wrong file, send the right one."),
    ),
    "blurred-picture": (
        _("The picture is blurred."),
        _("Clean the lens and touch the screen once where you stand, so that it is sharp there."),
    ),
    "shaking-picture": (_("The picture shakes."), _("Stand the phone on something steady.")),
}
