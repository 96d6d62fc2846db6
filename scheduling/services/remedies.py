"""Ways out of a clash of wishes, each as a changed season that can be planned: nothing here is promised before it is tried."""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

from scheduling.kernel.asked import day_words

REACH_DAYS = 7
_SPLIT_FROM = 20
_AWAY_DAYS = 3


@dataclass(frozen=True, slots=True)
class Candidate:
    """A way out to be tried. Of one `family` only the cheapest is offered. `writes` change wishes for good: `entry`, `field`,
    `to`; or `entry`, `split` (the new entry's id) and `head` of the part that is cut off. `holds` bind the trial alone."""

    kind: str
    family: str
    title: str
    writes: tuple[dict[str, Any], ...] = ()
    holds: tuple[dict[str, Any], ...] = ()


@dataclass(frozen=True)
class Setting:
    """The clash as documents: the season, where the base plan has each group, group names, the group, its rivals, the day."""

    document: dict[str, Any]
    plan: dict[str, Any]
    names: dict[str, str]
    group: str
    rivals: tuple[str, ...]
    day: date
    pair: bool

    def row(self, name: str) -> dict[str, Any]:
        """The group's row of the season document."""
        return next(row for row in self.document["groups"] if row["id"] == name)

    @property
    def days(self) -> dict[str, date]:
        """Where the base plan has AI of each placed group."""
        return {row["id"]: date.fromisoformat(row["ai_day"]) for row in self.plan["groups"]}

    @property
    def placed(self) -> bool:
        """Whether the base plan has a place for the group."""
        return self.group in self.days

    @property
    def last_day(self) -> date:
        """The season's last day."""
        return date.fromisoformat(self.document["season"]["last_day"])

    @property
    def first_day(self) -> date:
        """The season's first day."""
        return date.fromisoformat(self.document["season"]["first_day"])


def written(document: dict[str, Any], writes: tuple[dict[str, Any], ...] | list[dict[str, Any]]) -> dict[str, Any]:
    """The season with changed wishes; the document given is left as it is."""
    changed = deepcopy(document)
    for write in writes:
        row = next((row for row in changed["groups"] if row["id"] == write["entry"]), None)
        if row is None:
            continue
        if "split" in write:
            changed["groups"].append({**deepcopy(row), "id": write["split"], "head": write["head"], "done": []})
            row["head"] -= write["head"]
        else:
            row[write["field"]] = write["to"]
    return changed


def candidates(setting: Setting) -> Iterator[Candidate]:
    """Everything worth trying for a clash."""
    movable = not setting.row(setting.group).get("done")
    if movable and (setting.pair or not setting.placed):
        yield from _moves(setting, setting.group, keeps=setting.rivals[0] if setting.pair else "")
    for rival in setting.rivals:
        if not setting.row(rival).get("done"):
            yield from _moves(setting, rival, keeps=setting.group)
    for name in (setting.group, *(setting.rivals if setting.pair else ())):
        yield from _own_hands(setting, name)
        yield from _without_barn(setting, name)
    yield from _other_technicians(setting)
    yield from _two_at_once(setting)
    if movable:
        yield from _split(setting)
    yield from _anybody(setting)


def _anybody(setting: Setting) -> Iterator[Candidate]:
    """On a day that is full, neither group finds room while all others stay: then others may move, as little as they must."""
    day, rest = day_words(setting.day), "whoever is moved least gives way"
    if setting.pair:
        names = f"{setting.names[setting.group]} and {setting.names[setting.rivals[0]]}"
        yield Candidate("anybody", "anybody", f"{names} both get {day}; {rest}", holds=_wishes(setting))
    for name in (setting.group, *(setting.rivals if setting.pair else ())):
        title = f"{setting.names[name]} gets {day}; {rest}"
        yield Candidate("anybody", f"anybody {name}", title, holds=(_pin(name, setting.day),))


def _pin(name: str, day: date) -> dict[str, Any]:
    return {"group": name, "ai_from": day.isoformat(), "ai_to": day.isoformat()}


def _stay(setting: Setting, *free: str) -> tuple[dict[str, Any], ...]:
    """Everybody but the groups named stays on the day of the base plan."""
    windows = {row["id"]: (row["ai_from"], row["ai_to"]) for row in setting.document["groups"]}
    return tuple(
        _pin(name, day)
        for name, day in sorted(setting.days.items())
        if name not in free and name in windows and windows[name][0] <= day.isoformat() <= windows[name][1]
    )


def _wishes(setting: Setting, *but: str) -> tuple[dict[str, Any], ...]:
    """The groups of the clash, but for those named, on the day of the clash."""
    names = (setting.group, *(setting.rivals if setting.pair else ()))
    return tuple(_pin(name, setting.day) for name in names if name not in but)


def _free(setting: Setting) -> tuple[str, ...]:
    return (setting.group, *setting.rivals) if setting.pair else (setting.group,)


def _moves(setting: Setting, name: str, *, keeps: str) -> Iterator[Candidate]:
    """The group goes to another day within a week, later or earlier; its window is widened only as far as it takes."""
    row = setting.row(name)
    after, before = setting.day + timedelta(days=1), setting.day - timedelta(days=1)
    latest, earliest = setting.day + timedelta(days=REACH_DAYS), setting.day - timedelta(days=REACH_DAYS)
    rest = f"; {setting.names[keeps]} keeps {day_words(setting.day)}" if keeps else ""
    ways = (
        ("later", after, min(latest, setting.last_day)),
        ("earlier", max(earliest, setting.first_day), before),
    )
    for word, first, last in ways:
        if last < first:
            continue
        writes = []
        if last.isoformat() > row["ai_to"]:
            writes.append({"entry": name, "field": "ai_to", "to": last.isoformat(), "was": row["ai_to"]})
        if first.isoformat() < row["ai_from"]:
            writes.append({"entry": name, "field": "ai_from", "to": first.isoformat(), "was": row["ai_from"]})
        hold = {"group": name, "ai_from": first.isoformat(), "ai_to": last.isoformat()}
        pins = (_pin(keeps, setting.day),) if keeps else ()
        holds = (*_stay(setting, name, *_free(setting)), *pins, hold)
        yield Candidate("move", f"move {name}", f"{setting.names[name]} moves {word}{rest}", tuple(writes), holds)


def _own_hands(setting: Setting, name: str) -> Iterator[Candidate]:
    if setting.row(name)["ai_by"] != "technician":
        return
    write = {"entry": name, "field": "ai_by", "to": "ranch", "was": "technician"}
    holds = (*_stay(setting, *_free(setting)), *_wishes(setting))
    title = f"{setting.names[name]} is inseminated by the ranch itself on {day_words(setting.day)}"
    yield Candidate("own_hands", f"own {name}", title, (write,), holds)


def _without_barn(setting: Setting, name: str) -> Iterator[Candidate]:
    if not setting.row(name)["needs_barn"]:
        return
    write = {"entry": name, "field": "needs_barn", "to": False, "was": True}
    holds = (*_stay(setting, *_free(setting)), *_wishes(setting))
    title = f"{setting.names[name]} does without the breeding barn on {day_words(setting.day)}"
    yield Candidate("no_barn", f"barn {name}", title, (write,), holds)


def _other_technicians(setting: Setting) -> Iterator[Candidate]:
    """Everybody keeps the day; for two groups, another technician than the rival's comes to the first."""
    holds = (*_stay(setting, *_free(setting)), *_wishes(setting))
    if not setting.pair:
        title = f"{setting.names[setting.group]} gets {day_words(setting.day)}: other technicians and hours, nobody else moves"
        yield Candidate("technician", "technician", title, holds=holds)
        return
    taken = {visit["technician"] for visit in setting.plan["visits"] if visit["group"] == setting.rivals[0]}
    others = [person["id"] for person in setting.document["technicians"] if person["id"] not in taken]
    if taken and others:
        bound = {"group": setting.group, "technicians": others}
        title = f"Another technician comes to {setting.names[setting.group]} on {day_words(setting.day)}"
        yield Candidate("technician", "technician", title, holds=(*holds, bound))


def _two_at_once(setting: Setting) -> Iterator[Candidate]:
    """Two technicians at once need two stalls: the ranch's or a barn's."""
    row = setting.row(setting.group)
    stalls = next(item["ai_stalls"] for item in setting.document["ranches"] if item["id"] == row["ranch"])
    barns = [barn for barn in setting.document.get("barns", []) if barn["stalls"] > 1]
    if row["ai_by"] != "technician" or (stalls < 2 and not barns):
        return
    holds = (*_stay(setting, *_free(setting)), *_wishes(setting))
    needs = stalls < 2 and not row["needs_barn"]
    write = ({"entry": setting.group, "field": "needs_barn", "to": True, "was": False},) if needs else ()
    where = " in the breeding barn" if needs else ""
    title = f"Two technicians at once{where} for {setting.names[setting.group]} on {day_words(setting.day)}"
    yield Candidate("two_at_once", "two", title, write, holds)


def _split(setting: Setting) -> Iterator[Candidate]:
    """Half of the group on the day, the other half up to three days from it, as a group of its own."""
    row = setting.row(setting.group)
    if row["head"] < _SPLIT_FROM:
        return
    head, part = row["head"] // 2, str(uuid4())
    first = max(setting.day - timedelta(days=_AWAY_DAYS), setting.first_day, date.fromisoformat(row["ai_from"]))
    last = min(setting.day + timedelta(days=_AWAY_DAYS), setting.last_day, date.fromisoformat(row["ai_to"]))
    hold = {"group": part, "ai_from": first.isoformat(), "ai_to": last.isoformat()}
    holds = (*_stay(setting, *_free(setting)), *_wishes(setting), hold)
    name, kept = setting.names[setting.group], row["head"] - head
    title = f"{name} is split: {kept} head on {day_words(setting.day)}, {head} on a day near it"
    yield Candidate("split", "split", title, ({"entry": setting.group, "split": part, "head": head},), holds)
