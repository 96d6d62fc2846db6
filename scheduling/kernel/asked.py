"""What a changed plan asks of ranches and technicians, in sentences. Pure values in, texts out."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from scheduling.kernel.compare import Comparison, GroupChange, Load, Situation
from scheduling.kernel.lot_words import fill_lot_words
from scheduling.kernel.season import Group, Season


@dataclass(frozen=True, slots=True)
class Asked:
    """What a plan asks of a ranch for one group, or of a technician (`ranch` and `group` are empty then), in sentences.

    `to_accept`: more than who comes changes, so that the ranch must be asked.
    """

    ranch: str
    group: str
    technician: str
    texts: tuple[str, ...]
    to_accept: bool


def asked(comparison: Comparison, now: Situation, names: Mapping[str, str]) -> tuple[Asked, ...]:
    """Who is asked to change what. `names` gives the groups' names by id; groups in the order of their ranches' names."""
    season = now.season
    groups = {group.id: group for group in season.groups}
    rows = [
        Asked(item.ranch, item.group, "", tuple(_group_texts(item, season, groups.get(item.group))), _weighs(item))
        for item in comparison.groups
    ]
    rows.sort(key=lambda row: (_ranch_name(season, row.ranch), names.get(row.group, row.group)))
    return (*rows, *_technician_rows(comparison, season))


def _weighs(item: GroupChange) -> bool:
    """Whether the ranch must be asked: another day, other hours, other lots, other hands, or no place."""
    return (
        item.day_was != item.day_now
        or bool(item.steps)
        or item.lots_was != item.lots_now
        or item.ai_by_was != item.ai_by_now
    )


def _ranch_name(season: Season, ranch: str) -> str:
    return season.ranches[ranch].name if ranch in season.ranches else ranch


def _group_texts(item: GroupChange, season: Season, group: Group | None) -> Iterator[str]:
    if item.lost:
        yield f"It loses its place on {day_words(item.day_was)}."
        return
    if item.gained:
        yield f"It gets a place: AI on {day_words(item.day_now)}, {_against_wish(item)}."
    elif item.days:
        yield (
            f"AI moves from {day_words(item.day_was)} to {day_words(item.day_now)}, {shift_words(item.days)}; "
            f"{_against_wish(item)}. Calves are due {shift_words(item.days)}, from {day_words(item.calving_now)}."
        )
    if item.ai_by_was != item.ai_by_now:
        yield "The ranch inseminates itself." if item.ai_by_now == "ranch" else "A technician inseminates."
    if item.recut:
        yield f"It goes through the chute in {_lots(item.lots_now)} instead of {_lots(item.lots_was)}."
    elif not item.days:
        yield from _hour_texts(item, season, group)
    if item.crew_changed and not item.gained and item.ai_by_was == item.ai_by_now:
        yield _crew_text(item, season)
    if item.started and not item.lost:
        yield (
            f"Steps have been done: AI stays on {day_words(item.day_now)}."
            if not item.days
            else ("Steps have been done already; they are counted to the new day.")
        )


def _against_wish(item: GroupChange) -> str:
    assert item.day_now is not None
    days = (item.day_now - item.wanted).days
    return f"{shift_words(days)} than wished" if days else "as wished"


def _hour_texts(item: GroupChange, season: Season, group: Group | None) -> Iterator[str]:
    """Steps of one chute trip speak once."""
    if group is None:
        return
    zone, told = season.ranches[group.ranch].zone, set()
    for step in item.steps:
        was, now = step.was.astimezone(zone), step.now.astimezone(zone)
        if (step.lot, was, now) in told or step.key not in group.protocol.by_key:
            continue
        told.add((step.lot, was, now))
        lot = fill_lot_words(step.lot + 1, len(item.lots_now))
        what = ", ".join(filter(None, (group.protocol.by_key[step.key].label, lot)))
        when = f"{now:%H:%M} instead of {was:%H:%M}"
        yield f"{what} on {day_words(now.date())} begins {when}."


def _crew_text(item: GroupChange, season: Season) -> str:
    def names(people: tuple[str, ...]) -> str:
        found = sorted(season.technicians[name].name if name in season.technicians else name for name in people)
        return " and ".join(found)

    come = names(tuple(set(item.technicians_now) - set(item.technicians_was)))
    stay_away = names(tuple(set(item.technicians_was) - set(item.technicians_now)))
    if come and stay_away:
        return f"{come} comes instead of {stay_away}."
    return f"{come} comes as well." if come else f"{stay_away} does not come."


def _lots(heads: tuple[int, ...]) -> str:
    if len(heads) == 1:
        return f"one lot of {heads[0]}"
    return f"{len(heads)} lots of {', '.join(str(head) for head in heads[:-1])} and {heads[-1]}"


def _technician_rows(comparison: Comparison, season: Season) -> Iterator[Asked]:
    people = sorted(
        comparison.loads_now, key=lambda key: season.technicians[key].name if key in season.technicians else key
    )
    for name in people:
        was, now = comparison.loads_was.get(name, Load()), comparison.loads_now[name]
        texts = tuple(_load_texts(was, now))
        if texts:
            yield Asked("", "", name, texts, to_accept=False)


def _load_texts(was: Load, now: Load) -> Iterator[str]:
    days, head, km = now.days - was.days, now.head - was.head, now.km - was.km
    if days:
        yield f"{abs(days)} {'day' if abs(days) == 1 else 'days'} {'more' if days > 0 else 'fewer'}."
    if head:
        yield f"{abs(head)} head {'more' if head > 0 else 'fewer'} to inseminate."
    if abs(km) >= 1:
        yield f"{abs(km):.0f} km {'more' if km > 0 else 'less'} to drive."


def day_words(day: date | None) -> str:
    """A day as people read it: Mon 3 May."""
    return f"{day:%a} {day.day} {day:%b}" if day else "no day"


def shift_words(days: int) -> str:
    """A move by whole days in words; "the same day" where there is none."""
    if not days:
        return "the same day"
    return f"{abs(days)} {'day' if abs(days) == 1 else 'days'} {'later' if days > 0 else 'earlier'}"
