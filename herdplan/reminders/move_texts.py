"""The words of a planned haul or change of feed on the evening before. Everything goes through gettext."""

from datetime import datetime, time

from django.utils.translation import gettext as _

from herdplan.reminders.texts import About, closing, day_words, join, when
from scheduling.services.planned_moves import Checked


def planned_move(about: About, unit: str) -> tuple[str, str]:
    """What was planned for tomorrow, and what speaks against it."""
    assert about.move is not None
    move = about.move.move
    what = _haul() if _is_haul(about.move) else _feed()
    values = {"what": what, "when": when(about.starts, about.zone), "group": about.group}
    warned = (
        _("Look again before %(when)s: %(what)s, %(group)s")
        if about.move.warned
        else _("%(when)s: %(what)s, %(group)s")
    )
    lines = [
        _("%(group)s, %(ranch)s: %(head)d head.")
        % {"group": about.group, "ranch": about.ranch, "head": about.head},
        _("%(when)s to about %(end)s: from %(origin)s to %(goal)s.")
        % {**values, "end": f"{move.ends:%H:%M}", "origin": move.origin, "goal": move.goal},
        "",
        _band(about.move),
        *_heat(about.move),
        "",
        _("Not any more? Take it out under Planned moves, and no more is sent about it."),
        "",
        closing(),
    ]  # fmt: skip
    return warned % values, join(lines)


def _is_haul(checked: Checked) -> bool:
    return checked.move.kind == checked.move.Kind.HAUL


def _haul() -> str:
    return _("Haul or move cattle")


def _feed() -> str:
    return _("Change feed or pasture")


def _band(checked: Checked) -> str:
    """What the days around AI say, by the light that the bands gave."""
    first, last = checked.closed
    day = (checked.move.day - checked.basis.ai_day).days
    values = {"day": day, "first": day_words(first), "last": day_words(last)}
    if checked.light == "open":
        return _("The days around AI say nothing against it.")
    if not _is_haul(checked):
        text = _("Feed and pasture should stay the same from %(first)s to %(last)s, around AI.") % values
        supplement = (
            _("A supplement for six weeks is planned: begin it on the same day.")
            if checked.move.supplement
            else _("Change on another day, or feed a supplement for six weeks.")
        )
        return f"{text} {supplement}"
    if day == 0:
        return _("It is AI day: let them rest. The safest days to haul are the four that follow.")
    if checked.light == "care":
        return _("Day %(day)d after AI: some risk is left, about 6 pregnancies in 100 were lost.") % values
    return (
        _("Day %(day)d after AI: do not haul. About one pregnancy in ten is lost from %(first)s to %(last)s.") % values
    )


def _heat(checked: Checked) -> list[str]:
    """What is known of the heat of its hours."""
    if not checked.heat:
        unknown = _("The heat of that day is not known here: look at the forecast before you load.")
        return [] if checked.heat_known else [unknown]
    usual = any(note.usual for note in checked.heat)
    hot = _("Those hours are hot on a usual day of that month.") if usual else _("Those hours are forecast to be hot.")
    spans = [note.cool for note in checked.heat]
    cool = None if None in spans else spans[0]
    return [
        f"{hot} {_cool(cool)}",
        _("Never hold cattle on a standing trailer; shade and water wait where they get off."),
    ]


def _cool(span: tuple[datetime, datetime] | None) -> str:
    if span is None:
        return _("No hour of that day is cool enough; choose another day.")
    begin, end = span
    values = {"from": f"{begin:%H:%M}", "to": f"{end:%H:%M}"}
    if begin.time() == time():
        return _("It is cool until %(to)s.") % values
    return (
        _("It is cool from %(from)s.") if end.date() > begin.date() else _("It is cool from %(from)s to %(to)s.")
    ) % values


MOVE_WRITERS = {"planned_move": planned_move}
