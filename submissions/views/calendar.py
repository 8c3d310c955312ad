"""The deadline as a calendar file (RFC 5545)."""

from datetime import timedelta

from django.utils import timezone
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event

from ..models import Call


def deadline_file(call: Call, url: str) -> bytes:
    """One event that ends at the deadline, with reminders two days and three hours before it."""
    event = Event()
    event.add("uid", f"{call.slug}-deadline@tapoff")
    event.add("dtstamp", timezone.now())
    event.add("dtstart", call.deadline - timedelta(minutes=15))
    event.add("dtend", call.deadline)
    event.add("summary", _("Deadline: %(title)s") % {"title": call.title})
    event.add("description", _("Send your take before this ends.") + f"\n{url}")
    event.add("url", url)
    for before in (timedelta(days=2), timedelta(hours=3)):
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", call.title)
        alarm.add("trigger", -before)
        event.add_component(alarm)
    calendar = Calendar()
    calendar.add("prodid", "-//Tapoff//deadline//EN")
    calendar.add("version", "2.0")
    calendar.add_component(event)
    return calendar.to_ical()
