"""The words of reminders of dated items: what to prepare, bands, bulls, the check. Everything goes through gettext."""

from datetime import timedelta

from django.utils.translation import gettext as _

from herdplan.reminders.texts import About, closing, day_words, join


def _asks(key: str) -> str:
    """What to do, by the key of the item; plain, so that a translator sees whole sentences."""
    return {
        "weigh_first": _(
            "Weigh all of them; the gain that is still needed is worked out from it while there is time to feed."
        ),
        "weigh_again": _("Weigh again: who is still short needs more feed, another group or another year."),
        "score_first": _("Score condition while there is time to feed thin and young cows."),
        "score_again": _("Score again: they should be at 5 or better and gaining."),
        "exam": _(
            "Book the veterinarian: tract scores and pelvises. Fewer than half at 4 or 5 means change something first."
        ),
        "first_dose": _("For animals that never had the vaccine. The veterinarian decides which."),
        "boosters": _("The veterinarian decides which. No modified-live vaccine after these days."),
        "bull_exam": _("Book the veterinarian. About one bull in five fails: leave time to replace it."),
        "ration": _(
            "Change the ration for those that must gain weight or condition. No change of feed or pasture after these days."
        ),
        "facility": _(
            "Walk it with the crew: footing, gates, light, water and power for the thaw bath, shade or a roof."
        ),
        "open": _(
            "Have everybody checked who may have been with a bull, or say under Wishes that the group was kept from bulls. "
            "PG ends a pregnancy."
        ),
        "semen": _("Choose bulls and order straws with a few spare."),
        "drugs": _(
            "Order what is not there yet: doses for every head and some over, inserts and applicator, needles, gloves. "
            "The veterinarian says what needs a prescription. Keep doses as the label says."
        ),
        "nitrogen": _(
            "Fill the tank and write the level down every week. Liquid nitrogen burns and takes the air out of a closed cab."
        ),
    }[key]


def to_prepare(about: About, unit: str) -> tuple[str, str]:
    """An order, a weighing, an exam, a vaccine: what, from when to when, for which AI day."""
    assert about.until is not None
    assert about.ai_day is not None
    values = {
        "what": _(about.title), "group": about.group, "ranch": about.ranch, "head": about.head,
        "first": day_words(about.day), "last": day_words(about.until), "ai": day_words(about.ai_day),
    }  # fmt: skip
    if about.day == about.until:
        title = _("%(what)s on %(first)s: %(group)s") % values
        span = _("On %(first)s.") % values
    else:
        title = _("%(what)s by %(last)s: %(group)s") % values
        span = _("From %(first)s to %(last)s.") % values
    steps = [_("Steps:"), *(f"- {_(name)}" for name in about.names), ""] if about.names else []
    lines = [
        _("%(group)s, %(ranch)s: %(head)d head, AI on %(ai)s.") % values,
        span,
        "",
        _asks(about.item),
        "",
        *steps,
        _("Done already? Tick it under Preparation, and no more is sent about it."),
        "",
        closing(),
    ]
    return title, join(lines)


def no_haul(about: About, unit: str) -> tuple[str, str]:
    """Haul today or wait."""
    assert about.until is not None
    assert about.ai_day is not None
    first, last, again = about.day, about.until, about.until + timedelta(days=1)
    title = _("No hauling from %(day)s: %(group)s") % {"day": day_words(first), "group": about.group}
    days = {"from": (first - about.ai_day).days, "to": (last - about.ai_day).days}
    lines = [
        _("%(group)s, %(ranch)s: %(head)d head after AI.")
        % {"group": about.group, "ranch": about.ranch, "head": about.head},
        "",
        _("Do not haul them from %(first)s to %(last)s (days %(from)d to %(to)d after AI): about one pregnancy in ten is lost.")
        % {"first": day_words(first), "last": day_words(last), **days},
        _("Haul before %(first)s, or wait until %(again)s.") % {"first": day_words(first), "again": day_words(again)},
        _("Keep feed and pasture as they were, and work them in the cool of the day."),
        "",
        closing(),
    ]  # fmt: skip
    return title, join(lines)


def bull_turn_in(about: About, unit: str) -> tuple[str, str]:
    """Bulls in."""
    title = _("Bulls in on %(day)s: %(group)s") % {"day": day_words(about.day), "group": about.group}
    lines = [
        _("%(group)s, %(ranch)s: bulls go in on %(day)s.")
        % {"group": about.group, "ranch": about.ranch, "day": day_words(about.day)},
        *([_("Bulls that it takes: %(number)s.") % {"number": about.bulls}] if about.bulls else []),
        "",
        _("Turn in bulls that passed a breeding soundness exam. Look at them every day of the first week: walking, mounting."),
        *(
            [_("To tell AI calves from bull calves, wait until 14 days after AI (from memory; ask your adviser).")]
            if about.item
            else []
        ),
        _("Bulls are dangerous: never alone in the pen, always with a way out."),
        "",
        closing(),
    ]  # fmt: skip
    return title, join(lines)


def pregnancy_check(about: About, unit: str) -> tuple[str, str]:
    """Book the veterinarian."""
    assert about.ai_day is not None
    title = _("Pregnancy check from %(day)s: %(group)s") % {"day": day_words(about.day), "group": about.group}
    days = (about.day - about.ai_day).days
    lines = [
        _("%(group)s, %(ranch)s: %(head)d head, day %(days)d after AI is %(day)s.")
        % {"group": about.group, "ranch": about.ranch, "head": about.head, "days": days, "day": day_words(about.day)},
        "",
        _("Book the check now. The veterinarian chooses the way (scan, palpation, blood) and the day."),
        "",
        closing(),
    ]  # fmt: skip
    return title, join(lines)


ITEM_WRITERS = {
    "weigh_and_score": to_prepare,
    "pre_breeding_exam": to_prepare,
    "boosters": to_prepare,
    "ration_changes": to_prepare,
    "facility_check": to_prepare,
    "open_before_pg": to_prepare,
    "bull_exam": to_prepare,
    "orders_due": to_prepare,
    "no_haul": no_haul,
    "bull_turn_in": bull_turn_in,
    "pregnancy_check": pregnancy_check,
}
