"""How times, distances and board cells are written."""

import re
from datetime import date, timedelta

from django import template
from django.contrib.auth.models import AnonymousUser

from accounts.models import User
from accounts.units import KM_PER_MILE
from scheduling.services.board import Act, Board, Load, Row, TechnicianRow

register = template.Library()


@register.filter
def distance(km: float, user: User | AnonymousUser) -> str:
    """Road distance in the person's unit."""
    if isinstance(user, User) and user.distance_unit == "mi":
        return f"{km / KM_PER_MILE:.0f} mi"
    return f"{km:.0f} km"


@register.filter
def signed(value: float) -> str:
    """A change with its sign; "no change" for none."""
    return f"{value:+.0f}".replace("-", "−") if round(value) else "no change"


@register.filter
def distance_change(km: float, user: User | AnonymousUser) -> str:
    """More or less driving in the person's unit."""
    if abs(km) < 1:
        return "no change"
    return f"{distance(abs(km), user)} {'more' if km > 0 else 'less'}"


@register.filter
def pluralize_days(days: int) -> str:
    """The s of several days, before or after."""
    return "" if abs(days) == 1 else "s"


@register.filter
def minutes(length: timedelta) -> str:
    """A drive in hours and minutes."""
    whole = round(length.total_seconds() / 60)
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"


@register.filter
def unlocalized(value: float) -> str:
    """A coordinate with a point, whatever the language."""
    return f"{value:.6f}"


@register.filter
def acts_on(row: Row, day: date) -> list[Act]:
    """What a group does on a day."""
    return row.on(day)


@register.filter
def load_on(person: TechnicianRow, day: date) -> Load | None:
    """A technician's load on a day."""
    return person.loads.get(day)


@register.filter
def short(act: Act) -> str:
    """The words of an act for a narrow cell."""
    words = re.sub(r" \(.*?\)", "", act.words.label)
    words = words.replace("Timed AI + GnRH at AI", "AI").replace("Timed AI", "AI").replace("Insert", "insert")
    return f"{words}, {act.which}" if act.which else words


@register.filter
def shift(days: int) -> str:
    """A move against the wish in words."""
    return f"{abs(days)} day{'s' if abs(days) > 1 else ''} {'later' if days > 0 else 'earlier'} than wished"


@register.filter
def named(text: str, board: Board) -> str:
    """A checker's sentence with groups by their names in place of ids."""
    for row in board.rows:
        text = text.replace(f"group {row.entry.pk}", str(row.entry.group)).replace(
            str(row.entry.pk), str(row.entry.group)
        )
    for person in board.technicians:
        text = text.replace(person.id, person.name)
    return text
