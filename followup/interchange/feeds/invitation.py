"""One appointment as an iTIP message to the person it is for (RFC 5546), in that person's language.

The same UID for ever, a higher SEQUENCE with every change, METHOD once and at calendar level. Times are UTC,
so that the reader needs none of our zone rules; the wall time at the site stands in the text. Nothing is said
of the eye or the illness.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, timedelta
from email.utils import parseaddr

from django.conf import settings
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext
from icalendar import Calendar, Event, vCalAddress, vText

from followup.domain.errors import Refused
from followup.domain.words import AppointmentState
from followup.interchange.feeds.calendar import one_line
from followup.models import Appointment, Site
from followup.queries.contact import language_for

_PRODUCT = "-//Follow-up of operated eyes//Invitation//EN"
_METHODS = {AppointmentState.BOOKED: "REQUEST", AppointmentState.CANCELLED: "CANCEL"}


@dataclass(frozen=True, slots=True)
class Invitation:
    """method: REQUEST or CANCEL; content: the calendar's bytes."""

    method: str
    content: bytes


def invitation(appointment: Appointment, *, organizer: str) -> Invitation:
    """A request for a booked appointment, first or after a change; a cancellation for a cancelled one.

    organizer: the mail address that replies go to. The same appointment gives the same bytes. Raises Refused
    for an appointment whose outcome is known and for a person without a mail address.
    """
    state = AppointmentState(appointment.state)
    if state not in _METHODS:
        raise Refused(
            f'This place on {appointment.day:%-d %b %Y} is "{state.label.lower()}": nobody is invited.',
            code="wrong_state",
        )
    if not appointment.patient.email:
        raise Refused(f"{appointment.patient} has no mail address on record.", code="no_address")
    method = _METHODS[state]
    with translation.override(language_for(appointment.patient).value):
        event = _event(appointment, organizer, cancelled=method == "CANCEL")
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", method)
    calendar.add_component(event)
    return Invitation(method, calendar.to_ical())


def sender_address() -> str:
    """The address that the installation's mail comes from, so that answers come back to it."""
    return parseaddr(settings.DEFAULT_FROM_EMAIL)[1]


def _event(appointment: Appointment, organizer: str, *, cancelled: bool) -> Event:
    site = appointment.session.site
    starts = appointment.starts_at.astimezone(UTC)
    event = Event()
    event.add("uid", str(appointment.uid))
    event.add("sequence", appointment.sequence)
    event.add("dtstamp", appointment.changed_at.astimezone(UTC))
    event.add("dtstart", starts)
    event.add("dtend", starts + timedelta(minutes=appointment.minutes))
    event.add("summary", gettext("Cancelled: Eye clinic visit") if cancelled else gettext("Eye clinic visit"))
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("location", one_line(site.name))
    event.add("description", _description(appointment, site, cancelled=cancelled))
    event.add("class", "PRIVATE")
    event.add("organizer", _address(organizer, {"CN": one_line(site.name)}))
    event.add("attendee", _address(appointment.patient.email, _attendee(cancelled=cancelled)))
    return event


def _address(mail: str, params: dict[str, str]) -> vCalAddress:
    address = vCalAddress(f"mailto:{mail}")
    for name, value in params.items():
        address.params[name] = vText(value)
    return address


def _attendee(*, cancelled: bool) -> dict[str, str]:
    role = {"CUTYPE": "INDIVIDUAL", "ROLE": "REQ-PARTICIPANT"}
    return role if cancelled else {**role, "PARTSTAT": "NEEDS-ACTION", "RSVP": "TRUE"}


def _description(appointment: Appointment, site: Site, *, cancelled: bool) -> str:
    told = {
        "day": date_format(appointment.day, "j M Y"),
        "time": f"{appointment.local_time:%H:%M}",
        "where": one_line(site.name),
    }
    when = gettext("%(day)s, %(time)s local time at %(where)s.") % told
    lines = [gettext("Cancelled: %(when)s") % {"when": when} if cancelled else when]
    if site.phone:
        lines.append(gettext("Clinic telephone: %(phone)s.") % {"phone": one_line(site.phone)})
    return "\n".join(lines)
