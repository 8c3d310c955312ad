"""What is found in a take, and what to do about it."""

from django.utils.translation import gettext_noop as _

SENTENCES = (
    _("The picture is black."),
    _("The picture is black for %(share)s %% of the take."),
    _("Make sure that nothing covers the lens and that the screen stays on while you film, then record again."),
    _("The picture is out of focus."),
    _(
        "Wipe the lens, touch the drum on the screen so that the camera focuses on it, and record again if "
        "there is time."
    ),
    _("The click is nearly as loud as the drums (%(db)s dB under them)."),
    _("The click can be heard (%(db)s dB under the drums)."),
    _(
        "Use wired headphones or earphones, closed ones if you have them, keep the click only as loud as "
        "you need, and keep the phone away from them."
    ),
    _("The microphone was overloaded: %(share)s of the strokes are cut off at the top."),
    _("The loudest strokes (%(share)s) are cut off at the top."),
    _("The loudest strokes (%(share)s) may be cut off at the top, or held down by the phone."),
    _("Move the phone further away (three to five metres) or lay a thin cloth over its microphone, and record again."),
    _("This is the same performance as %(which)s."),
    _("a take that somebody else sent"),
    _("your own take of %(when)s UTC"),
    _("If you sent the wrong file, send the right one. If you meant to send it twice, withdraw one of them."),
    _("Something covers the lens: the picture shows nothing but one plain patch."),
    _("Clear the lens, look at the screen before you start, and record again."),
    _("The picture is so dark that hands and sticks are hard to see."),
    _("Put a lamp behind the camera or stand facing a window, and record again if there is time."),
    _("The playing %(way)s: by the end it is %(ms)s ms from where it began."),
    _("falls behind"),
    _("runs ahead"),
    _(
        "Turn the click up until you can hear it over the drum (not louder than you need), and listen to it "
        "through the long notes."
    ),
    _("The picture stands still for up to %(seconds)s s while the playing goes on."),
    _("Close other apps, free some storage on the phone, and record again."),
    _("bar %(from)s"),
    _("bars %(from)s to %(to)s"),
    _("The take is not complete: %(where)s cannot be heard."),
    _("What is written in %(where)s cannot be heard; something else was played there."),
    _("Play it slowly with the guide until it is right, then record the whole part again if there is time."),
    _("%(missed)s of the %(n)s strokes on the page cannot be heard."),
    _(
        "Listen to the recording with the sheet in front of you: what you left out, practise and record again; "
        "what you played, the phone must hear, so put it nearer."
    ),
    _("Play from the first bar to the last in one go, and let the camera run until the last note has rung out."),
    _("None of the strokes on %(drums)s can be heard, though the others can."),
    _(
        "Listen to the recording: if that drum cannot be heard, put the phone where it can; if it was not played, "
        "record again."
    ),
    _("The strokes lie %(spread)s ms around the beat; up to %(limit)s ms sits well in a line."),
    _("bars %(from)s and %(to)s"),
    _("Practise %(where)s slowly first, at about %(bpm)s, then climb the ladder."),
    _("Practise slowly first, then climb the ladder."),
    _("The video has only %(fps)s pictures a second, so strokes are seen in jumps."),
    _("Set the camera to 30 pictures a second and turn on more light: phones slow down in the dark."),
    _("This video has no sound at all."),
    _("Allow the camera app to use the microphone, film a few seconds, listen to them, then record again."),
    _("This file has sound but no picture."),
    _("Send the video itself, not a sound recording made from it."),
    _("Wind blows into the microphone."),
    _("Noise lies only %(db)s dB under the strokes."),
    _("Record in a quieter room, with fans and traffic shut out, and put the phone nearer to the drum."),
    _("The phone changes its recording level by itself: in the pauses the noise comes up by %(db)s dB."),
    _("If the camera has a setting for automatic sound level, switch it off; otherwise put the phone further away."),
    _("It sounds as if somebody speaks while you play."),
    _("Ask for silence in the room until your last note has died away."),
    _("Mains hum can be heard."),
    _("Keep the phone and its cable away from chargers, lamps and amplifiers."),
    _("One of the two sound channels is empty."),
    _("Nothing to do: the other channel is used."),
    _(
        "What was played does not seem to be this part: %(found)s of the written strokes were found, and "
        "the part explains %(explained)s of what was heard."
    ),
    _(
        "What was played does not seem to be this part: at no tempo does it lie on the page better than chance would "
        "put it."
    ),
    _(
        "Check that you sent the right file and chose the right part and segment; if you did, practise with "
        "the guide and record again."
    ),
    _("Hardly any drum strokes were heard."),
    _("Check that the file is the right one: it should hold the %(part)s part, %(n)s strokes."),
    _("The picture is upright (%(width)s x %(height)s); the finished picture is wide."),
    _("Turn the phone on its side before you start filming. An editor may be able to crop this take."),
    _("The picture has black bars burnt into it."),
    _("Send the video as the camera saved it, not a copy that another app has framed."),
    _("The whole picture shakes while you play."),
    _("Put the phone on a shelf or a stand that the drum does not touch, and record again if there is time."),
    _("The file has a sound track, but nothing can be heard in it."),
    _(
        "Check that the microphone is not covered or switched off for the camera, record ten seconds, "
        "listen, then record again."
    ),
    _("The picture is only %(width)s x %(height)s pixels."),
    _("Set the camera to 1080p (at least 720p), and send the file itself: messaging apps make videos smaller."),
    _("The sound comes well %(way)s the picture; by how much cannot be told."),
    _("The sound comes %(ms)s ms %(way)s the picture, and the eye notices."),
    _("before"),
    _("after"),
    _(
        "Use the phone's own camera app and its own microphone, no wireless one. An editor can move the "
        "sound, within limits."
    ),
    _("The playing begins %(n)s bar %(way)s against the click."),
    _("The playing begins %(n)s bars %(way)s against the click."),
    _("late"),
    _("early"),
    _(
        "Count the count-off aloud once with the click and come in on the next downbeat. The leader can "
        "also have this take moved."
    ),
    _("The picture is one still image: nobody can be seen playing."),
    _("Film yourself playing, and send that video unchanged."),
    _("The drums are very quiet: the loudest stroke reaches %(db)s dB of full scale."),
    _("Put the phone nearer (two to three metres) and see that nothing covers the microphone."),
    _("Send the video as your camera app saved it. If it does not play on your own device either, record again."),
    _("This file ends in the middle: the rest of it did not arrive or was never saved."),
    _("Check that the video plays to its end on your device, then send it once more."),
    _(
        "Nothing is lost: a person will look. Next time let the camera hear the chirps at the start and the "
        "end of the click: hold one earphone to the phone, then put it on."
    ),
    _("It is not certain that bar 1 begins at %(at)s s."),
    _("It is not certain that bar 1 begins at %(at)s s. It might also be at %(other)s s."),
    _("It is not certain where bar 1 begins: the recording seems to begin after it."),
    _(
        "Nothing is lost: a person will look. Next time start the camera before the count-off, and let it "
        "hear the chirps at the start of the click."
    ),
    _("It could not be told where bar 1 begins."),
    _("The picture stops for %(seconds)s s at one place."),
    _("Close other apps and record again if the stop falls into the playing."),
    _("The time between pictures varies, as phones often do; it is evened out for the editor."),
    _("Nothing to do."),
    _("This was played at about %(bpm)s beats a minute; the segment goes at %(wanted)s."),
    _("Use the click marked %(bpm)s, listen to it all the way through, and record again."),
    _("Use the click marked %(bpm)s and record again. If that is too fast still, climb the practice ladder first."),
)
