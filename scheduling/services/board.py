"""The season board as plain values: days across, ranches and groups down, technicians' load under it."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from scheduling.kernel.sessions import HEAT_PREFIX
from scheduling.kernel.timetable import HEAT_STARTS
from scheduling.models import PlanVersion, SeasonEntry
from scheduling.services.catalogue import StepWords, protocol_name, step_words, trip_heads
from scheduling.services.heat import HeatBook, HeatNote
from scheduling.services.lots import lot_on_page
from scheduling.services.waiting import WaitWords
from scheduling.services.wall import wall


@dataclass(frozen=True, slots=True)
class Act:
    """One chute trip (or step without one) of a lot, on the ranch's clock (wall times)."""

    key: str
    words: StepWords
    starts: datetime
    ends: datetime
    lot: int
    lots: int
    head: int
    by: str
    clash: bool
    done: bool
    entry: SeasonEntry
    answers: tuple[tuple[str, str], ...] = ()
    heat: tuple[HeatNote, ...] = ()
    weather_known: bool = False
    wait: WaitWords | None = None

    @property
    def day(self) -> date:
        """The ranch's calendar day."""
        return self.starts.date()

    @property
    def which(self) -> str:
        """Which lot of the group, in words; nothing where it is not cut."""
        return lot_on_page(self.lot, self.lots)

    @property
    def timed(self) -> bool:
        """Whether the hour matters: a pass through the chute, AI after seen heat among them."""
        return self.words.trip is not None or self.words.kind == "ai"

    @property
    def afternoon(self) -> bool:
        """Whether cattle are worked after noon, when warm weather is hard on them, on a day whose weather is not known."""
        return self.timed and not self.weather_known and self.ends.time() > HEAT_STARTS


@dataclass
class Row:
    """A group on the board."""

    entry: SeasonEntry
    protocol: str
    ai_day: date | None
    moved: int
    clash: bool
    acts: list[Act]

    def on(self, day: date) -> list[Act]:
        """What happens on a day."""
        return [act for act in self.acts if act.day == day]


@dataclass
class Load:
    """A technician's day."""

    head: int
    km: float
    leaves: datetime
    back: datetime
    limit: int

    @property
    def state(self) -> str:
        """over, full (nine tenths of the limit) or fine."""
        if self.head > self.limit:
            return "over"
        return "full" if self.head >= 0.9 * self.limit else "fine"


@dataclass
class TechnicianRow:
    """A technician's load by day."""

    id: str
    name: str
    loads: dict[date, Load] = field(default_factory=dict)


@dataclass
class Board:
    """Everything that the season page shows of a plan. `days` are those on which something is done."""

    days: list[date]
    rows: list[Row]
    technicians: list[TechnicianRow]
    unplaced: list[dict[str, Any]]
    broken: list[dict[str, Any]]

    def columns(self) -> list[tuple[date, int]]:
        """Each day with the number of idle days before it, which the board leaves out."""
        before = [*self.days[:1], *self.days]
        return [(day, max(0, (day - last).days - 1)) for last, day in zip(before, self.days, strict=False)]

    def hot(self) -> list[Act]:
        """Passes through the chute that meet heat, by the clock."""
        found = [act for row in self.rows for act in row.acts if act.heat]
        return sorted(found, key=lambda act: (act.starts, str(act.entry.group)))

    def by_day(self) -> list[tuple[date, list[Act]]]:
        """The same as a list of days, for a phone."""
        days: dict[date, list[Act]] = defaultdict(list)
        for row in self.rows:
            for act in row.acts:
                days[act.day].append(act)
        return [(day, sorted(acts, key=lambda act: (act.starts, act.key))) for day, acts in sorted(days.items())]


Answers = dict[tuple[str, int, str, str], str]


def board_of(
    plan: PlanVersion, entries: list[SeasonEntry], answers: Answers | None = None, book: HeatBook | None = None
) -> Board:
    """The board of a plan for the entries that the caller may see, with what technicians answered. No query of its own.

    `book`: the weather of their ranches, for warnings of heat.
    """
    by_id = {str(entry.pk): entry for entry in entries}
    names = {item["id"]: item["name"] for item in plan.problem["technicians"]}
    who: dict[tuple[str, int, str], list[str]] = defaultdict(list)
    for visit in plan.document["visits"]:
        who[visit["group"], visit["lot"], visit["step"]].append(names.get(visit["technician"], ""))
    said = _said(answers or {}, names)
    after_heat: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for visit in plan.document["visits"]:
        if visit["step"].startswith(HEAT_PREFIX):
            after_heat[visit["group"]].append(visit)
    clashing = {about for item in plan.broken for about in item["about"]}
    rows = [
        _row(group, by_id[group["id"]], who, said, clashing, book, after_heat[group["id"]])
        for group in plan.document["groups"]
        if group["id"] in by_id
    ]
    rows += [_empty_row(entry) for key, entry in by_id.items() if key not in {str(row.entry.pk) for row in rows}]
    rows.sort(key=lambda row: (row.entry.group.herd.ranch.name, row.entry.group.name))
    days = sorted({act.day for row in rows for act in row.acts})
    unplaced = [{**item, "entry": by_id[item["group"]]} for item in plan.document["unplaced"] if item["group"] in by_id]
    broken = [
        item for item in plan.broken if len(by_id) == len(plan.problem["groups"]) or by_id.keys() & set(item["about"])
    ]
    return Board(days, rows, _technicians(plan), unplaced, broken)


_People = dict[tuple[str, int, str], list[str]]
_Acts = dict[tuple[str, int, str], list[tuple[str, str]]]


def _said(answers: Answers, names: dict[str, str]) -> _Acts:
    """Name and answer of each technician by (entry, lot, step)."""
    found: _Acts = defaultdict(list)
    for (entry, lot, step, person), answer in sorted(answers.items()):
        found[entry, lot, step].append((names.get(person, ""), answer))
    return found


def _row(
    group: dict[str, Any],
    entry: SeasonEntry,
    who: dict[tuple[str, int, str], list[str]],
    said: _Acts,
    clashing: set[str],
    book: HeatBook | None,
    after_heat: list[dict[str, Any]],
) -> Row:
    zone = ZoneInfo(entry.group.herd.ranch.zone)
    done = {record.step for record in entry.records.all()}
    heads = trip_heads(entry.protocol)
    acts = []
    clash = group["id"] in clashing
    for number, lot in enumerate(group["lots"]):
        for step in lot["steps"]:
            if step["key"] not in heads:
                continue
            people = who.get((group["id"], number, step["key"]), [])
            words = step_words(entry.protocol, step["key"])
            starts, ends = datetime.fromisoformat(step["start"]), datetime.fromisoformat(step["end"])
            known, heat = _heat(book, entry, starts, ends, words)
            acts.append(
                Act(
                    key=step["key"],
                    words=words,
                    starts=wall(starts, zone),
                    ends=wall(ends, zone),
                    lot=number + 1,
                    lots=len(group["lots"]),
                    head=lot["head"],
                    by=" and ".join(people) or ("Technician" if step["by"] == "technician" else "Ranch crew"),
                    clash=clash,
                    done=step["key"] in done,
                    entry=entry,
                    answers=tuple(said.get((group["id"], number, step["key"]), ())),
                    heat=heat,
                    weather_known=known,
                )
            )
    acts += [_after_heat(visit, entry, group, who, said, clash) for visit in after_heat]
    day = date.fromisoformat(group["ai_day"])
    return Row(entry, protocol_name(entry.protocol), day, (day - entry.ai_wanted).days, clash, acts)


def _after_heat(
    visit: dict[str, Any], entry: SeasonEntry, group: dict[str, Any], who: _People, said: _Acts, clash: bool
) -> Act:
    """AI of females that were seen in heat half a day before, with the number that is expected: a visit, no step of the lot."""
    zone, key = ZoneInfo(entry.group.herd.ranch.zone), (group["id"], visit["lot"], visit["step"])
    return Act(
        key=visit["step"],
        words=step_words(entry.protocol, visit["step"]),
        starts=wall(datetime.fromisoformat(visit["start"]), zone),
        ends=wall(datetime.fromisoformat(visit["end"]), zone),
        lot=visit["lot"] + 1,
        lots=len(group["lots"]),
        head=visit["head"],
        by=" and ".join(who.get(key, ())),
        clash=clash,
        done=False,
        entry=entry,
        answers=tuple(said.get(key, ())),
    )


def _heat(
    book: HeatBook | None, entry: SeasonEntry, starts: datetime, ends: datetime, words: StepWords
) -> tuple[bool, tuple[HeatNote, ...]]:
    """Whether the day's weather is known, and the warnings on a pass through the chute."""
    if book is None or words.trip is None:
        return False, ()
    ranch = entry.group.herd.ranch
    known = book.knows(ranch.pk, starts.astimezone(ZoneInfo(ranch.zone)).date())
    return known, book.notes(ranch.pk, starts, ends, words.label) if known else ()


def _empty_row(entry: SeasonEntry) -> Row:
    return Row(entry, protocol_name(entry.protocol), None, 0, False, [])


def _technicians(plan: PlanVersion) -> list[TechnicianRow]:
    zone = ZoneInfo(plan.problem["season"]["zone"])
    rows = {item["id"]: TechnicianRow(item["id"], item["name"]) for item in plan.problem["technicians"]}
    limits = {item["id"]: item["max_head_per_day"] for item in plan.problem["technicians"]}
    heads: dict[tuple[str, date], int] = defaultdict(int)
    protocols = {group["id"]: group["protocol"] for group in plan.problem["groups"]}
    for visit in plan.document["visits"]:
        if step_words(protocols[visit["group"]], visit["step"]).kind == "ai":
            day = datetime.fromisoformat(visit["start"]).astimezone(zone).date()
            heads[visit["technician"], day] += visit["head"]
    for item in plan.document["days"]:
        day = date.fromisoformat(item["day"])
        rows[item["technician"]].loads[day] = Load(
            head=heads[item["technician"], day],
            km=item["km"],
            leaves=wall(datetime.fromisoformat(item["leaves"]), zone),
            back=wall(datetime.fromisoformat(item["back"]), zone),
            limit=limits[item["technician"]],
        )
    return sorted(rows.values(), key=lambda row: row.name)
