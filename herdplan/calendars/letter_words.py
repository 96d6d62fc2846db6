"""The words of invitations that people read; the calendar part is written elsewhere. The language in force is the reader's."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils import translation
from django.utils.dateformat import format as shown
from django.utils.translation import gettext as _

from herdplan.calendars.models import Attendance, Letter
from herdplan.calendars.writer import Event


def subject(attendance: Attendance, method: Letter.Method, first: bool) -> str:
    """Day, hour and what."""
    begins = shown(attendance.starts.astimezone(ZoneInfo(attendance.zone)), "D d M, H:i")
    values = {"begins": begins, "what": attendance.summary}
    if method is Letter.Method.CANCEL:
        text = _("Cancelled: %(begins)s: %(what)s")
    else:
        text = _("%(begins)s: %(what)s") if first else _("Changed: %(begins)s: %(what)s")
    return " ".join((text % values).split())


def body(
    attendance: Attendance, method: Letter.Method, event: Event, first: bool, before: datetime | None, link: str
) -> str:
    """What it says to somebody who reads it as plain mail. `before`: when it was to begin."""
    zone = ZoneInfo(attendance.zone)
    local, ends = attendance.starts.astimezone(zone), attendance.ends.astimezone(zone)
    # Translators: letters of Django's date format, a backslash before letters that stand for themselves.
    day, with_year = _("l d F, H:i"), _("l d F Y, H:i")
    when = _("%(begins)s to %(ends)s (%(zone)s)") % {
        "begins": shown(local, with_year), "ends": shown(ends, "H:i"), "zone": local.tzname(),
    }  # fmt: skip
    coop = {"coop": attendance.cooperative.name}
    if method is Letter.Method.CANCEL:
        opening = _("%(coop)s: this is off.") % coop
        ask = _("If somebody has told you otherwise by telephone, ask the coordinator.")
        return f"{opening}\n\n{attendance.summary}\n{when}\n{attendance.place}\n\n{ask}\n"
    opening = (_("%(coop)s asks you to come:") if first else _("%(coop)s has changed this; what stands now:")) % coop
    details = event.text.partition("\n")[2]  # its first line is the time again
    was = _("(It was %(when)s.)") % {"when": shown(before.astimezone(zone), day)} + "\n" if before else ""
    how, other = _("Accept, decline or say maybe, without signing in:"), _("Or answer in your calendar.")
    return (
        f"{opening}\n\n{attendance.summary}\n{when}\n{was}{attendance.place}\n\n{details}\n\n{how}\n{link}\n\n{other}\n"
    )


def off(language: str) -> str:
    """The description of an event that is taken back."""
    with translation.override(language):
        return _("This is off. Remove it from your calendar.")
