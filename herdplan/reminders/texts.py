"""The words of messages: plain rancher English, the ranch's own time with its weekday, the cautions that belong there.

Everything goes through gettext under the reader's language. Times come as aware moments with the ranch's zone.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils.dateformat import format as shown
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from accounts.units import KM_PER_MILE
from scheduling.services import StepWords
from scheduling.services.lots import lot_words, with_lot
from scheduling.services.planned_moves import Checked
from scheduling.services.waiting import Wait, wait_words


@dataclass(frozen=True, slots=True)
class About:
    """What a reminder speaks of: a step or visit at a ranch. `day` is the day that matters (after AI: counted from it).

    Of a dated item: its key and `title`, its last day (`until`), the AI day that it counts from, and how many `bulls` it takes.
    Of a planned move: the `move` with what speaks against it. At AI to which only some of a lot come, who has to `wait`.
    """

    words: StepWords
    group: str
    ranch: str
    place: str
    zone: ZoneInfo
    starts: datetime
    head: int
    lot: int
    lots: int
    day: date
    by_technician: bool = False
    leaves: datetime | None = None
    km: float = 0
    other: "About | None" = None
    tank: bool = False
    names: tuple[str, ...] = ()
    item: str = ""
    title: str = ""
    until: date | None = None
    ai_day: date | None = None
    bulls: str = ""
    move: Checked | None = None
    wait: Wait | None = None

    @property
    def named(self) -> str:
        """The group, and which lot of it where it is cut, in the language in force."""
        return with_lot(self.group, lot_words(self.lot, self.lots))


def closing() -> str:
    """The last line of every message."""
    return _("The label, your veterinarian and local rules come first.")


def when(moment: datetime, zone: ZoneInfo) -> str:
    """ "Mon 3 May, 16:30" on the ranch's clock."""
    return shown(moment.astimezone(zone), "D j M, H:i")


def day_words(day: date) -> str:
    """ "Mon 3 May"."""
    return shown(day, "D j M")


def distance(km: float, unit: str) -> str:
    """Road distance in the reader's unit."""
    if unit == "mi":
        return _("%(number)d miles") % {"number": round(km / KM_PER_MILE)}
    return _("%(number)d km") % {"number": round(km)}


def _what(about: About) -> str:
    return _("%(step)s: %(head)d head, %(group)s, %(ranch)s") % {
        "step": _(about.words.label), "head": about.head, "group": about.named, "ranch": about.ranch,
    }  # fmt: skip


def _clock(about: About) -> str:
    return f"{when(about.starts, about.zone)} ({shown(about.starts.astimezone(about.zone), 'T')})"


def join(lines: Iterable[str]) -> str:
    return "\n".join(line for line in lines if line is not None).replace("\n\n\n", "\n\n").strip() + "\n"


def _waits(about: About) -> list[str]:
    words = wait_words(about.wait)
    return [str(words)] if words else []


def _kit(about: About) -> list[str]:
    words = about.words
    return [
        *([_("Doses: %(doses)s") % {"doses": _(words.doses)}] if words.doses else []),
        *([_("Have ready: %(things)s.") % {"things": _(words.prepare)}] if words.prepare else []),
        *([_("Tank: measure the level and write it down.")] if about.tank else []),
        *([_("Caution: %(caution)s") % {"caution": _(words.caution)}] if words.caution else []),
    ]


def _full(about: About, ask: str) -> str:
    who = _("A technician of the co-op comes.") if about.by_technician else ""
    head = [_what(about), _clock(about), *([who] if who else []), *_waits(about), "", ask]
    return join([*head, *_kit(about), "", closing()])


def _title(about: About) -> str:
    return f"{when(about.starts, about.zone)}: {_(about.words.label)}, {about.named}"


def evening_before(about: About, unit: str) -> tuple[str, str]:
    """Sort, pen, count."""
    ask = _("This evening: sort and pen, check the list, count the doses.")
    if about.words.kind == "feed":
        ask = _("This evening: weigh out the MGA feed and check the bunk space.")
    if about.words.kind == "watch":
        ask = _("This evening: set who watches for heat, and when.")
    return _title(about), _full(about, ask)


def technician_evening(about: About, unit: str) -> tuple[str, str]:
    """Route, tank, list."""
    drive = ""
    if about.leaves is not None and about.leaves < about.starts:
        drive = _("Leave %(leave)s: %(far)s, %(minutes)d min.") % {
            "leave": when(about.leaves, about.zone),
            "far": distance(about.km, unit),
            "minutes": round((about.starts - about.leaves).total_seconds() / 60),
        }
    ask = _("This evening: check the semen list, the gear and the chute's gate code or directions.")
    text = [_what(about), _clock(about), *([about.place] if about.place else []), *([drive] if drive else [])]
    return _title(about), join([*text, *_waits(about), "", ask, *_kit(about), "", closing()])


def insert_out(about: About, unit: str) -> tuple[str, str]:
    """The hour of removal."""
    title = _("Inserts out at %(when)s: %(group)s") % {"when": when(about.starts, about.zone), "group": about.named}
    ask = _("Start on the hour, take the inserts out in the order they will come to AI, and count what comes out.")
    return title, _full(about, ask)


def second_pg(about: About, unit: str) -> tuple[str, str]:
    """The dose that is forgotten."""
    title = _("Second PG at %(when)s: %(group)s") % {"when": when(about.starts, about.zone), "group": about.named}
    return title, _full(about, _("The second dose belongs to the first: every animal gets it, in the same order."))


def mga_last(about: About, unit: str) -> tuple[str, str]:
    """Last day of MGA."""
    title = _("%(day)s: last MGA feeding, %(group)s") % {"day": day_words(about.day), "group": about.named}
    ask = _("Feed MGA for the last time on this day. From the next day on no MGA: clean the bunks and the mixer.")
    return title, _full(about, ask)


def crew_confirmation(about: About, unit: str) -> tuple[str, str]:
    """Is everybody coming?"""
    title = _("Confirm the crew for %(when)s: %(group)s") % {
        "when": when(about.starts, about.zone), "group": about.named,
    }  # fmt: skip
    ask = _("Call or write to the crew today. If a hand is missing, tell the coordinator now, not on the day.")
    return title, _full(about, ask)


def visit_confirmation(about: About, unit: str) -> tuple[str, str]:
    """Does the visit stand?"""
    title = _("Confirm %(ranch)s, %(when)s: %(group)s") % {
        "ranch": about.ranch, "when": when(about.starts, about.zone), "group": about.named,
    }  # fmt: skip
    ask = _("Call the ranch: hour, head, crew, chute. If something does not fit, tell the coordinator now.")
    return title, join([_what(about), _clock(about), "", ask, "", closing()])


def second_session(about: About, unit: str) -> tuple[str, str]:
    """The hour of the second session."""
    assert about.other is not None
    second = about.other
    title = _("Second session at %(when)s: %(group)s") % {
        "when": when(second.starts, second.zone), "group": about.named,
    }  # fmt: skip
    ask = _(
        "The first session closes. Keep the females that were not inseminated yet apart and tell the technician how many."
    )
    return title, _full(second, ask)


WRITERS = {
    "evening_before": evening_before,
    "technician_evening": technician_evening,
    "insert_out": insert_out,
    "second_pg": second_pg,
    "mga_last": mga_last,
    "crew_confirmation": crew_confirmation,
    "visit_confirmation": visit_confirmation,
    "second_session": second_session,
}


def change_line(kind: str, label: str, before: str, now: str, head: int, head_before: int) -> str:
    """One line of a message about changes; `kind` is new, moved, cancelled, head or back."""
    values = {"label": label, "before": before, "now": now, "head": head, "head_before": head_before}
    if kind == "new":
        return _("New: %(now)s: %(label)s, %(head)d head") % values
    if kind == "moved":
        return _("Moved from %(before)s to %(now)s: %(label)s, %(head)d head") % values
    if kind == "cancelled":
        return _("Cancelled: %(before)s: %(label)s") % values
    if kind == "head":
        return _("Head changed from %(head_before)d to %(head)d: %(now)s: %(label)s") % values
    return _("On again: %(now)s: %(label)s, %(head)d head") % values


def changes_text(
    coop: str, urgent: list[str], lines: list[str], link: str, page: str, most: int = 40
) -> tuple[str, str]:
    """Title and body of what changed for one person. With urgent lines it asks for the tap."""
    count = len(urgent) + len(lines)
    if urgent:
        title = _("Changed for the next 24 hours: %(first)s") % {"first": urgent[0]}
    elif all(line.startswith(_("New: %(now)s").split("%")[0]) for line in lines):
        words = ngettext(
            "%(coop)s: the plan is published, %(count)d date for you",
            "%(coop)s: the plan is published, %(count)d dates for you",
            count,
        )
        title = words % {"coop": coop, "count": count}
    else:
        words = ngettext(
            "%(coop)s: the plan has changed, %(count)d date of yours",
            "%(coop)s: the plan has changed, %(count)d dates of yours",
            count,
        )
        title = words % {"coop": coop, "count": count}
    body = [*urgent]
    if urgent:
        body += [
            "",
            _("Tap here to say that you have seen it:"),
            link,
            _("Without the tap the coordinator calls you."),
            "",
        ]
    body += lines[:most]
    if len(lines) > most:
        body.append(_("And %(count)d more.") % {"count": len(lines) - most})
    return title, join([*body, "", _("The whole plan: %(page)s") % {"page": page}, "", closing()])


def call_text(name: str, phone: str, what: str, page: str) -> tuple[str, str]:
    """For the coordinator: whom to call and why."""
    title = _("Call %(name)s: a change was not seen") % {"name": name}
    lines = [
        _("%(name)s, telephone %(phone)s, has not seen this in time:")
        % {"name": name, "phone": phone or _("not given")},
        "",
        what,
        "",
        _("Call, then note it on the call list: %(page)s") % {"page": page},
    ]
    return title, join(lines)


def test_text(site: str) -> tuple[str, str]:
    """The message of the test button."""
    return _("Test message"), _("If you read this, reminders from %(site)s reach you this way.") % {"site": site} + "\n"
