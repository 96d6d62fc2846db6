"""The words of messages from the clash desk; everything but what the desk itself wrote of a remedy goes through gettext."""

from collections.abc import Sequence

from django.utils.translation import gettext as _


def asked(ranch: str, season: str, remedy: Sequence[str], link: str) -> tuple[str, str]:
    """A ranch is asked; `remedy` is what would change, as the clash desk wrote it."""
    values = {"ranch": ranch, "season": season}
    lines = [
        _("Wishes collide in %(season)s. Would this be all right for %(ranch)s?") % values,
        "",
        *remedy,
        "",
        _("Accept or decline here (sign in with this address):"),
        link,
        "",
        _("Nothing changes before every ranch that is asked has accepted."),
    ]
    return _("%(ranch)s is asked: another day or hour in %(season)s?") % values, "\n".join(lines)


def declined(ranch: str, remedy: str, reason: str) -> tuple[str, str]:
    """For the coordinator: a ranch says no."""
    values = {"ranch": ranch, "remedy": remedy, "reason": reason}
    said = _("%(ranch)s declines “%(remedy)s”: %(reason)s") if reason else _("%(ranch)s declines “%(remedy)s”.")
    return _("%(ranch)s declines") % values, f"{said % values}\n{_('Choose another remedy.')}"


def settled(group: str, remedy: str) -> tuple[str, str]:
    """For the coordinator: everybody has accepted."""
    text = _("“%(remedy)s” is agreed on and is the plan in work. Publish it when it is right.") % {"remedy": remedy}
    return _("Settled: %(group)s") % {"group": group}, text
