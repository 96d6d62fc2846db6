"""A protocol laid on the clock: dated steps for one group, cut into lots, with warnings.

Steps that are whole days apart fall at the same local clock time; a step with an hour rule (AI after PG, a second PG)
follows in elapsed hours, daylight-saving changes included.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from scheduling.kernel.clock import after_hours, at_local, changes_between, hours_between, to_minute
from scheduling.kernel.protocol import Protocol, Step
from scheduling.kernel.reader import ReadError
from scheduling.kernel.sun import sun_times
from scheduling.kernel.throughput import (
    SESSION_ADVICE_H,
    Pace,
    fewest_lots,
    gap_range,
    interval_range,
    stagger_h,
)

NIGHT_ENDS, NIGHT_STARTS = time(5), time(21)  # common practice: nobody works cattle between these
# Cattle carry the day's heat for hours after the air has cooled: "Handling cattle through high heat humidity indexes",
# Nebraska Beef Quality Assurance, undated.
HEAT_STARTS, HEAT_ENDS = time(12), time(20)


@dataclass(frozen=True, slots=True)
class Warned:
    """Something a person should know before accepting the dates."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class TimedStep:
    """A step at its time, with the earliest and latest that its hour rule allows and the hours since its anchor."""

    step: Step
    at: datetime
    earliest: datetime
    latest: datetime
    hours_after: float | None


@dataclass(frozen=True, slots=True)
class TimedLot:
    """A lot and its steps. `interval`: shortest and longest wait for AI over its animals (None without timed AI)."""

    head: int | None
    steps: tuple[TimedStep, ...]
    interval: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Timetable:
    """One group's dated steps."""

    protocol: Protocol
    zone: ZoneInfo
    lots: tuple[TimedLot, ...]
    warnings: tuple[Warned, ...]

    @property
    def interval(self) -> tuple[float, float] | None:
        """Shortest and longest wait over all lots."""
        ranges = [lot.interval for lot in self.lots if lot.interval]
        return (min(low for low, _ in ranges), max(high for _, high in ranges)) if ranges else None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the warnings need to know of the place: closed days, and where it is (for daylight)."""

    closed_days: frozenset[date] = frozenset()
    place: tuple[float, float] | None = None


def from_start(protocol: Protocol, start: datetime, zone: ZoneInfo) -> tuple[TimedStep, ...]:
    """The steps when the first is at `start` (aware)."""
    local = start.astimezone(zone)
    return _lay(protocol, local.date(), local.timetz().replace(tzinfo=None, fold=0), zone, first=local)


def from_ai(protocol: Protocol, ai: datetime, zone: ZoneInfo, gap_h: float | None = None) -> tuple[TimedStep, ...]:
    """The steps when AI (the first session) starts at `ai`; `ReadError` where the protocol sets no AI hour.

    `gap_h` is the time from treatment start to AI start; without it the protocol's target.
    """
    if not protocol.ai_steps:
        raise ReadError("ai", f"--start instead: {protocol.id} has no AI at a set hour")
    first = protocol.ai_steps[0]
    if first.after is None:
        raise ReadError("ai", f"--start instead: AI of {protocol.id} follows no other step")
    anchor = to_minute(after_hours(ai, -(first.after.target_h if gap_h is None else gap_h), zone))
    day = anchor.date() - timedelta(days=protocol.by_key[first.after.step].day)
    return _lay(protocol, day, anchor.timetz().replace(tzinfo=None, fold=0), zone)


def _lay(
    protocol: Protocol, day: date, clock: time, zone: ZoneInfo, first: datetime | None = None
) -> tuple[TimedStep, ...]:
    placed: dict[str, datetime] = {}
    timed = []
    for step in protocol.steps:
        anchor = placed.get(step.after.step) if step.after else None
        at = first if first is not None and not placed else _place(step, day, clock, zone, anchor)
        placed[step.key] = at
        timed.append(_timed(step, at, anchor, zone))
    return tuple(timed)


def _place(step: Step, day: date, clock: time, zone: ZoneInfo, anchor: datetime | None) -> datetime:
    """By hours where the rule is about hours, else the same clock time on the step's day."""
    if step.after is not None and anchor is not None and follows_by_hours(step):
        return after_hours(anchor, step.after.target_h, zone)
    return at_local(day + timedelta(days=step.day), clock, zone)


def follows_by_hours(step: Step) -> bool:
    """Whether the step follows its anchor in elapsed hours: AI, what is done with it, and steps hours apart."""
    if step.after is None:
        return False
    return step.is_ai or step.after.target_h % 24 != 0 or step.after.target_h == 0


def _timed(step: Step, at: datetime, anchor: datetime | None, zone: ZoneInfo) -> TimedStep:
    if step.after is None or anchor is None:
        return TimedStep(step, at, at, at, None)
    if step.after.target_h == 0 and not step.after.stated:
        return TimedStep(step, at, at, at, 0.0)
    low, high = step.after.window
    hours = round(hours_between(anchor, at), 4)
    return TimedStep(step, at, after_hours(anchor, low, zone), after_hours(anchor, high, zone), hours)


def timetable(
    protocol: Protocol,
    zone: ZoneInfo,
    *,
    start: datetime | None = None,
    ai: datetime | None = None,
    head: int | None = None,
    pace: Pace | None = None,
    surroundings: Surroundings | None = None,
) -> Timetable:
    """One group's dated steps, from the first step's start or back from the AI start (aware datetimes).

    With `head` and `pace` the group is cut into the fewest lots whose every animal stays inside the window; later lots
    start later, so that no two meet in the chute.
    """
    if (start is None) == (ai is None):
        raise ReadError("start", "either --start or --ai")
    if start is not None:
        steps = from_start(protocol, start, zone)
    elif ai is not None:
        steps = from_ai(protocol, ai, zone, _first_gap(protocol, head, pace))
    lots: tuple[TimedLot, ...] = (TimedLot(head, steps, _single_interval(steps)),)
    if head is not None and pace is not None:
        lots = tuple(_lots(steps, head, pace, zone))
    warnings = tuple(_warnings(protocol, zone, lots, pace, surroundings or Surroundings()))
    return Timetable(protocol, zone, lots, warnings)


def _first_gap(protocol: Protocol, head: int | None, pace: Pace | None) -> float | None:
    """Treatment start to AI start of the first lot, so that counting back meets the AI start that was asked for."""
    if head is None or pace is None or not protocol.ai_steps or protocol.ai_steps[0].after is None:
        return None
    rule = protocol.ai_steps[0].after
    return best_gap(fewest_lots(head, rule.window, pace)[0], rule.target_h, rule.window, pace)


def _single_interval(steps: tuple[TimedStep, ...]) -> tuple[float, float] | None:
    hours = next((item.hours_after for item in steps if item.step.is_ai), None)
    return None if hours is None else (hours, hours)


def _lots(steps: tuple[TimedStep, ...], head: int, pace: Pace, zone: ZoneInfo) -> Iterator[TimedLot]:
    ai = next((item for item in steps if item.step.is_ai), None)
    if ai is None or ai.step.after is None:
        yield TimedLot(head, steps, None)
        return
    window = ai.step.after.window
    late = 0.0
    for size in fewest_lots(head, window, pace):
        gap = best_gap(size, ai.step.after.target_h, window, pace)
        shifted = tuple(_shifted(steps, late, gap, zone))
        started = next(item.hours_after for item in shifted if item.step.is_ai)
        yield TimedLot(size, shifted, interval_range(size, gap if started is None else started, pace))
        late += stagger_h(size, pace)


def best_gap(head: int, target_h: float, window: tuple[float, float], pace: Pace) -> float:
    """Hours from treatment start to AI start that centre the animals' waits on the target, inside the window."""
    shortest, longest = interval_range(head, 0.0, pace)
    allowed = gap_range(head, window, pace)
    if allowed is None:
        raise ReadError("head", "a smaller lot: not every animal fits the window")
    return min(max(target_h - (shortest + longest) / 2, allowed[0]), allowed[1])


def _shifted(steps: tuple[TimedStep, ...], late_h: float, gap_h: float, zone: ZoneInfo) -> Iterator[TimedStep]:
    """The steps of a lot that starts `late_h` later, with its first AI session `gap_h` after its anchor."""
    placed: dict[str, datetime] = {}
    first_ai = next(item.step.key for item in steps if item.step.is_ai)
    first_target = next(item.step.after.target_h for item in steps if item.step.key == first_ai and item.step.after)
    for item in steps:
        rule = item.step.after
        at = to_minute(after_hours(item.at, late_h if item.step.trip is not None else 0.0, zone))
        if rule is not None and item.step.is_ai:
            at = to_minute(after_hours(placed[rule.step], gap_h + rule.target_h - first_target, zone))
        elif rule is not None and rule.target_h == 0:
            at = placed[rule.step]
        placed[item.step.key] = at
        yield _timed(item.step, at, placed.get(rule.step) if rule else None, zone)


def _warnings(
    protocol: Protocol, zone: ZoneInfo, lots: tuple[TimedLot, ...], pace: Pace | None, place: Surroundings
) -> Iterator[Warned]:
    seen: set[Warned] = set()
    for lot in lots:
        for item in _first_of_trips(lot.steps):
            for warned in _step_warnings(item, lot, zone, pace, place):
                if warned not in seen:
                    seen.add(warned)
                    yield warned
    hours = max((_session_h(lot, pace) for lot in lots), default=0.0)
    if pace is not None and hours > SESSION_ADVICE_H:
        text = f"The longest AI session takes {hours:.1f} h; advice is to inseminate no more than fits into 3 to 4 h."
        yield Warned("long_session", text)
    if protocol.adjustments:
        yield Warned("adjusted", "This co-op has adjusted the hours: " + " ".join(protocol.adjustments))


def _first_of_trips(steps: tuple[TimedStep, ...]) -> Iterator[TimedStep]:
    """One step for each pass through the chute, and every step that needs none."""
    trips: set[int] = set()
    for item in steps:
        if item.step.trip is None or item.step.trip not in trips:
            yield item
        if item.step.trip is not None:
            trips.add(item.step.trip)


def _session_h(lot: TimedLot, pace: Pace | None) -> float:
    return lot.head / pace.ai_rate if pace is not None and lot.head and lot.interval else 0.0


def _step_warnings(
    item: TimedStep, lot: TimedLot, zone: ZoneInfo, pace: Pace | None, place: Surroundings
) -> Iterator[Warned]:
    local, name = item.at.astimezone(zone), item.step.label
    when = local.strftime("%a %d %b, %H:%M")
    if item.step.trip is not None:
        ends = after_hours(item.at, _duration_h(item, lot, pace), zone)
        if local.time() < NIGHT_ENDS or local.time() >= NIGHT_STARTS or ends.date() > local.date():
            yield Warned("night", f"{name} on {when} is night work; another hour at PG moves it.")
        if place.place is not None and _before_daylight(local, place.place):
            yield Warned("before_daylight", f"{name} on {when} starts before daylight: bring lights.")
        if local.time() < HEAT_ENDS and ends.time() > HEAT_STARTS and ends.date() == local.date():
            text = f"{name} on {when} runs into the afternoon: in warm weather cattle are hottest then and into the evening."
            yield Warned("afternoon_heat", text)
        if local.date() in place.closed_days:
            yield Warned("closed_day", f"{name} falls on {local:%a %d %b}, when the ranch is closed.")
    if item.step.is_ai and item.hours_after is not None:
        anchor = after_hours(item.at, -item.hours_after, zone)
        if changes_between(anchor, item.at, zone):
            text = f"The clocks change between treatment and {name} on {when}; the hours are counted in elapsed time."
            yield Warned("clock_change", text)


def _duration_h(item: TimedStep, lot: TimedLot, pace: Pace | None) -> float:
    if pace is None or not lot.head:
        return 0.0
    return lot.head / (pace.ai_rate if item.step.is_ai else pace.treat_rate)


def _before_daylight(local: datetime, place: tuple[float, float]) -> bool:
    times = sun_times(local.date(), *place)
    return times is not None and local < times[0] - timedelta(minutes=30)
