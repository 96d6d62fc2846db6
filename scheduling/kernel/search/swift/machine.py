# mypy: disable-error-code="no-any-return"
"""Rounds in machine code: drive a day, settle a chute, put a group where it adds least, take some out and put them back.

The same moves as `rounds.py` and `insertion.py`, on a few plain arrays with named columns. Keys of technician-days count from
the first day (day times technicians plus technician); groups, visits, blocks, options, rows and shapes are numbers; times are
minutes since the epoch, costs the season's. All of it is one file because what is compiled is kept until the file changes, and
a file does not know of changes in another.
"""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt
from numba import njit

Ints = npt.NDArray[np.int32]  # minutes since the epoch go up to the year 6053
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Small = npt.NDArray[np.int8]

MOST_STOPS = 12
MOST_LOTS = 4
MOST_TRIPS = 8
MOST_DAYS = 10
MOST_WORKS = 6
MOST_ROWS = 64
NEIGHBOURS = 60
# Kinds of trips: the treatment that hours are counted from, one that follows it within hours, any other.
AI, ANCHOR, BOUND, OTHER = 0, 1, 2, 3

# Places: nowhere else after it; where its groups and the spans in which its chute is taken begin.
LAST, AT_FIRST, TAKEN_FIRST = range(3)
# Technician-days.
BEGINS, ENDS, BASE, MOST = range(4)
# Visits. TRIP: which of the group's trips; TREAT: when the treatment that hours are counted from may start; OWNER: the group,
# -1 where it stays; then lots by offset and length.
LOW, HIGH, LENGTH, HEAD, NOON, PLACE, IS_AI, SHAPE, TRIP, TREAT_LOW, TREAT_HIGH, LOTS, OWNER, SPANS = range(14)
# Blocks of a group (one AI day and treatment), one after the other: days MOVED, ROW: the group on one AI day, OPEN: whether it
# may be chosen, the treatment's first and last start (-1: it may float), where the options of each work begin.
MOVED, ROW, OPEN, FROM, UNTIL, WORK = range(6)
# Options of a block's work; WITH: the visit's head.
VISIT, KEY, WITH = range(3)
# A group on one AI day: whether groups that stay are handled on its days; the AI day from the first; days of handling; for
# each trip, when the ranch opens and closes.
BESIDE, ON, DAYS, HOURS = 0, 1, 2, 2 + MOST_DAYS
# Groups: works, whether it plays, whether its AI needs a barn, then the trips but for AI in the order of settling, then of each
# trip its kind, day, least and most minutes after treatment.
RANCH, TIGHT, FIRST, WORKS, PLAYS, BARN, TRIPS, ORDER = range(8)
KIND, DAY, LEAST, LONGEST = (ORDER + MOST_TRIPS * i for i in range(1, 5))
# Shapes: of each trip its lots by offset and length, then least and most minutes from treatment to AI.
SHAPE_LOTS, PATTERNS = range(2)
GAPS = PATTERNS + 2 * MOST_TRIPS * MOST_LOTS
# Numbers: prices, and the worst move of all other groups.
PER_KM, PER_HALF, PER_WORST, UNPLACED, FLOOR = range(5)
# Technician-days of a plan: how many visits, head, in which round it was put into the journal; places, visits, starts. Places
# are those of the visits, once more: what a visit adds at least is asked for more often than all else, from the first columns.
COUNT, LOAD, STAMP, PLACES = range(4)
VISITS = PLACES + MOST_STOPS + 1
STARTS = VISITS + MOST_STOPS + 1
WIDTH = STARTS + MOST_STOPS + 1
# What is chosen for a group: its block (-1: out), in which round it was put into the journal, its barn (-1: none), the option
# of each work.
BLOCK, SEEN, STANDS, OPTIONS = range(4)
CHOSEN = OPTIONS + MOST_WORKS
# Barns on a day: how many groups, at which ranch.
GROUPS, AT = range(2)
# What a plan counts: the round, technician-days and groups in the journal, days in the pool, groups left out.
ROUND, OLD_DAYS, OLD_GROUPS, POOLED, OUT, DIRTY = range(6)
ROUTES_COST, OWN_COST, BEST_COST, OLD_ROUTES, OLD_OWN = range(5)
JOURNAL = 4096
_GRID = 15
_NAMES = 256
_INF = 1e18
# How often a treatment's hour is passed over, of groups for which technicians come several times.
_PASSED = 0.6

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function, **options: bool) -> Function:
    """Compile to machine code when it is first called, kept on disk where there is a place for it.

    References are not counted (`_nrt`): no array is made inside, and counting them took a quarter of the time.
    """
    jit: Any = njit
    try:
        made: Function = jit(cache=True, _nrt=False, **options)(function)
    except RuntimeError:  # no folder that may be written to
        made = jit(_nrt=False, **options)(function)
    return made


def inner(function: Function) -> Function:
    """As `compiled`, for what is called from machine code only.

    It becomes part of what calls it: an array is handed over as seven to ten words, and handing over took half of the time.
    """
    return compiled(function, no_cpython_wrapper=True, no_cfunc_wrapper=True, forceinline=True)


class Tables(NamedTuple):
    """What stays during a phase; columns as named above."""

    km: Floats
    minutes: Ints
    place: Ints
    at: Ints  # groups, ranch by ranch
    taken: Ints  # spans, ranch by ranch
    day: Ints
    day_cost: Floats
    visit: Ints
    block: Ints
    fixed: Floats  # cost of blocks
    option: Ints
    alone: Floats  # least cost of an option's technician-day by itself
    row: Ints
    group: Ints
    near: Ints
    hardness: Floats  # by order, group
    shape: Ints
    gap: Ints  # of barns: whole days between two ranches
    number: Floats


class Plan(NamedTuple):
    """What changes."""

    days: Ints
    stops: Small  # how many visits each of them has, once more: small enough to stay near the processor
    cost: Floats  # of technician-days
    chosen: Ints
    moves: Ints  # how many groups are moved by so many days
    barns: Ints  # by barn and day
    total: Floats
    marks: Ints
    best_days: Ints
    best_chosen: Ints
    dirty: Ints  # days changed since the best plan
    old_days: Ints  # journal: the key, then as `days`
    old_cost: Floats
    old_groups: Ints  # the group, then as `chosen`
    pool: Ints  # key, count, visits
    pool_index: Ints


class Work(NamedTuple):
    """Room to work in."""

    touched: Ints  # ranches whose chute has to be settled anew
    lists: Ints
    buffers: Ints  # days in the making
    busy: Ints
    starts: Ints
    saved: Ints
    saved_cost: Floats
    best: Ints
    best_cost: Floats
    picked: Ints  # tried, best, none
    bounds: Floats  # of a group's days: in all, the day's own cost, works after the first
    first_block: Ints


@compiled
def seeded(seed: int) -> None:
    """Chance begins from here."""
    np.random.seed(seed)


# -- a technician's day -------------------------------------------------------------------------------------------
@inner
def late_halves(visits: Ints, visit: int, start: int) -> int:
    """Started half hours of AI after noon, over the lots."""
    halves = 0
    noon = visits[visit, NOON]
    for i in range(visits[visit, LOTS]):
        begun = start + visits[visit, SPANS + 2 * i]
        late = begun + visits[visit, SPANS + 2 * i + 1] - max(noon, begun)
        if late > 0:
            halves += (late + 29) // 30
    return halves


@inner
def drive(
    km: Floats,
    minutes: Ints,
    places: Ints,
    visits: Ints,
    day: Ints,
    number: Floats,
    day_cost: float,
    row: Ints,
    count: int,
    starts: Ints,
) -> float:
    """The cost of a day's visits in this order, their starts written to `starts`; infinite where it cannot be driven."""
    home = day[BASE]
    here, at, way, halves, head, closed = home, day[BEGINS], 0.0, 0, 0, 0
    for i in range(count):
        visit = row[i]
        place = visits[visit, PLACE]
        if place != here:
            if closed:
                return _INF
            way += km[here, place]
            at += minutes[here, place]
            here = place
        if at < visits[visit, LOW]:
            at = visits[visit, LOW]
        elif at > visits[visit, HIGH]:
            return _INF
        starts[i] = at
        head += visits[visit, HEAD]
        begun = at
        at += visits[visit, LENGTH]
        if visits[visit, IS_AI] and at > visits[visit, NOON]:
            halves += late_halves(visits, visit, begun)
        closed = places[place, LAST]
    if at + minutes[here, home] > day[ENDS] or head > day[MOST]:
        return _INF
    way += km[here, home]
    return day_cost + number[PER_KM] * way + number[PER_HALF] * halves


@inner
def with_visit(t: Tables, days: Ints, cost: float, key: int, visit: int, buffers: Ints) -> float:
    """The day with the visit where it adds least, written to buffers 2 and 3; its cost, infinite where it fits nowhere."""
    row, starts, best, best_starts = buffers[0], buffers[1], buffers[2], buffers[3]
    visits, minutes, km, per_km = t.visit, t.minutes, t.km, t.number[PER_KM]
    count = days[key, COUNT]
    home, place = t.day[key, BASE], visits[visit, PLACE]
    cheapest, at, here = _INF, t.day[key, BEGINS], home
    if count == MOST_STOPS:
        return _INF
    for i in range(count + 1):
        if i:
            before = days[key, VISITS + i - 1]
            here = visits[before, PLACE]
            at = days[key, STARTS + i - 1] + visits[before, LENGTH]
        begun = at + minutes[here, place]
        if begun > visits[visit, HIGH]:
            continue
        begun = max(begun, visits[visit, LOW]) + visits[visit, LENGTH]
        then, late = home, t.day[key, ENDS]
        if i < count:
            then, late = visits[days[key, VISITS + i], PLACE], visits[days[key, VISITS + i], HIGH]
        if begun + minutes[place, then] > late:
            continue
        way = km[here, place] + km[place, then] - km[here, then]
        if cost + per_km * way > cheapest + 1e-6:
            continue
        for j in range(i):
            row[j] = days[key, VISITS + j]
        row[i] = visit
        for j in range(i, count):
            row[j + 1] = days[key, VISITS + j]
        found = drive(km, minutes, t.place, visits, t.day[key], t.number, t.day_cost[key], row, count + 1, starts)
        if found < cheapest:
            cheapest = found
            for j in range(count + 1):
                best[j], best_starts[j] = row[j], starts[j]
    return cheapest


# -- the chute ----------------------------------------------------------------------------------------------------
@inner
def share_a_day(rows: Ints, one: int, other: int) -> bool:
    """Whether two rows (a group on one AI day each) have a day of handling in common."""
    for i in range(DAYS, DAYS + MOST_DAYS):
        day = rows[one, i]
        if day < 0:
            break
        for j in range(DAYS, DAYS + MOST_DAYS):
            if rows[other, j] == day:
                return True
    return False


@inner
def entangled(blocks: Ints, rows: Ints, groups: Ints, places: Ints, at: Ints, chosen: Ints, group: int) -> bool:
    """Whether a placed group's handling has to be settled with others', or by itself."""
    row = blocks[chosen[group, BLOCK], ROW]
    if groups[group, TIGHT] or rows[row, BESIDE]:
        return True
    place = groups[group, RANCH]
    for i in range(places[place, AT_FIRST], places[place + 1, AT_FIRST]):
        other = at[i]
        if other != group and chosen[other, BLOCK] >= 0 and share_a_day(rows, row, blocks[chosen[other, BLOCK], ROW]):
            return True
    return False


@inner
def start_of(days: Ints, key: int, visit: int) -> int:
    """When a technician starts a visit."""
    for i in range(days[key, COUNT]):
        if days[key, VISITS + i] == visit:
            return days[key, STARTS + i]
    return -1


@inner
def is_free(shape: Ints, trip: int, start: int, busy: Ints, count: int) -> bool:
    """Whether the chute is free for all lots of a trip."""
    for lot in range(shape[SHAPE_LOTS]):
        begin = start + shape[PATTERNS + 2 * (MOST_LOTS * trip + lot)]
        end = begin + shape[PATTERNS + 2 * (MOST_LOTS * trip + lot) + 1]
        for i in range(count):
            if busy[i, 0] < end and begin < busy[i, 1]:
                return False
    return True


@inner
def nearest_free(shape: Ints, trip: int, low: int, high: int, wish: int, busy: Ints, count: int) -> int:
    """The start nearest to the wish, in quarter hours, at which the chute is free; -1 where there is none."""
    if low > high:
        return -1
    centre = min(max(wish, low), high)
    if is_free(shape, trip, centre, busy, count):
        return centre
    step = _GRID
    while step < max(centre - low, high - centre) + _GRID:
        if centre - step >= low and is_free(shape, trip, centre - step, busy, count):
            return centre - step
        if centre + step <= high and is_free(shape, trip, centre + step, busy, count):
            return centre + step
        step += _GRID
    return -1


@inner
def anchor_hours(group: Ints, block: Ints, shape: Ints, visit: Ints, starts: Ints, hours: Ints) -> None:
    """Earliest, latest and wished start of the treatment that hours are counted from, into `hours`."""
    low, high, wish = visit[TREAT_LOW], visit[TREAT_HIGH], -1
    if block[FROM] >= 0:
        hours[0], hours[1] = max(low, block[FROM]), min(high, block[UNTIL])
        hours[2] = (block[FROM] + block[UNTIL]) // 2
        return
    for trip in range(MOST_TRIPS):
        if group[KIND + trip] == AI and starts[trip] >= 0:
            first, final = starts[trip] - shape[GAPS + 2 * trip + 1], starts[trip] - shape[GAPS + 2 * trip]
            low, high = max(low, first), min(high, final)
            if wish < 0:
                wish = (first + final) // 2
    hours[0], hours[1], hours[2] = low, high, wish


@inner
def settle_group(
    group: Ints, block: Ints, row: Ints, shape: Ints, visit: Ints, starts: Ints, hours: Ints, busy: Ints, count: int
) -> int:
    """Place every trip for which no technician comes; how many spans are taken then, -1 where one fits nowhere."""
    treated, anchor_day, last = 0, 0, shape[SHAPE_LOTS] - 1
    for i in range(group[TRIPS]):
        trip = group[ORDER + i]
        kind, start = group[KIND + trip], starts[trip]
        if start < 0:
            at = PATTERNS + 2 * (MOST_LOTS * trip + last)
            low, high = row[HOURS + 2 * trip], row[HOURS + 2 * trip + 1] - shape[at] - shape[at + 1]
            if kind == ANCHOR:
                anchor_hours(group, block, shape, visit, starts, hours)
                low, high, wish = max(low, hours[0]), min(high, hours[1]), hours[2]
            else:
                wish = treated + (group[DAY + trip] - anchor_day) * 1440
                if kind == BOUND:
                    low, high = max(low, treated + group[LEAST + trip]), min(high, treated + group[LONGEST + trip])
            start = nearest_free(shape, trip, low, high, wish, busy, count)
            if start < 0:
                return -1
            for lot in range(last + 1):
                busy[count, 0] = start + shape[PATTERNS + 2 * (MOST_LOTS * trip + lot)]
                busy[count, 1] = busy[count, 0] + shape[PATTERNS + 2 * (MOST_LOTS * trip + lot) + 1]
                count += 1
        if kind == ANCHOR:
            treated, anchor_day = start, group[DAY + trip]
    return count


@inner
def fixed_starts(t: Tables, days: Ints, picked: Ints, works: int, starts: Ints, busy: Ints, count: int) -> int:
    """Starts by trip of what technicians come for, and their spans; how many are taken then, -1 where two collide."""
    for trip in range(starts.shape[0]):
        starts[trip] = -1
    for work in range(works):
        option = picked[OPTIONS + work]
        visit, start = t.visit[t.option[option, VISIT]], start_of(days, t.option[option, KEY], t.option[option, VISIT])
        starts[visit[TRIP]] = start
        for j in range(visit[LOTS]):
            begin = start + visit[SPANS + 2 * j]
            end = begin + visit[SPANS + 2 * j + 1]
            for k in range(count):
                if busy[k, 0] < end and begin < busy[k, 1]:
                    return -1
            busy[count, 0], busy[count, 1] = begin, end
            count += 1
    return count


@inner
def settles(t: Tables, days: Ints, chosen: Ints, place: int, busy: Ints, names: Ints, starts: Ints) -> bool:
    """Whether all entangled groups of a ranch find their hours, one handling at a time."""
    found, count = 0, 0
    for i in range(t.place[place, AT_FIRST], t.place[place + 1, AT_FIRST]):
        group = t.at[i]
        if chosen[group, BLOCK] >= 0 and entangled(t.block, t.row, t.group, t.place, t.at, chosen, group):
            names[found] = group
            found += 1
    if found == 0:
        return True
    for i in range(t.place[place, TAKEN_FIRST], t.place[place + 1, TAKEN_FIRST]):
        busy[count, 0], busy[count, 1] = t.taken[i, 0], t.taken[i, 1]
        count += 1
    for i in range(found):
        picked = chosen[names[i]]
        count = fixed_starts(t, days, picked, t.group[names[i], WORKS], starts[i], busy, count)
        if count < 0:
            return False
    for way in range(2 if found > 1 else 1):
        taken = count
        for i in range(found):
            at = i if way == 0 else found - 1 - i
            picked, group = chosen[names[at]], t.group[names[at]]
            block = t.block[picked[BLOCK]]
            visit = t.visit[t.option[picked[OPTIONS], VISIT]]
            taken = settle_group(
                group, block, t.row[block[ROW]], t.shape[visit[SHAPE]], visit, starts[at], starts[-1], busy, taken
            )
            if taken < 0:
                break
        if taken >= 0:
            return True
    return False


# -- changes ------------------------------------------------------------------------------------------------------
@inner
def worst_move(moves: Ints, floor: int) -> int:
    """The largest move of any group, in days."""
    worst = moves.shape[0] - 1
    while worst > floor and moves[worst] == 0:
        worst -= 1
    return worst


@inner
def cost_of(number: Floats, moves: Ints, total: Floats, marks: Ints) -> float:
    """The cost as it stands."""
    worst = worst_move(moves, int(number[FLOOR]))
    return total[ROUTES_COST] + total[OWN_COST] + number[PER_WORST] * worst + number[UNPLACED] * marks[OUT]


@inner
def set_day(p: Plan, visits: Ints, key: int, row: Ints, count: int, starts: Ints, load: int, cost: float) -> None:
    """Give a technician-day its visits; what it was before goes into the journal, once a round."""
    days = p.days
    if days[key, STAMP] != p.marks[ROUND]:
        j = p.marks[OLD_DAYS]
        p.marks[OLD_DAYS] += 1
        p.old_days[j, 0], p.old_cost[j] = key, p.cost[key]
        for i in range(WIDTH):
            p.old_days[j, 1 + i] = days[key, i]
        days[key, STAMP] = p.marks[ROUND]
    p.total[ROUTES_COST] += cost - p.cost[key]
    for i in range(count):
        days[key, VISITS + i], days[key, STARTS + i], days[key, PLACES + i] = row[i], starts[i], visits[row[i], PLACE]
    days[key, COUNT], days[key, LOAD], p.cost[key], p.stops[key] = count, load, cost, count


@inner
def use_barn(groups: Ints, barns: Ints, group: int, on: int, barn: int, more: int) -> None:
    """Count the days of a group's sessions at a barn, or no longer."""
    for trip in range(MOST_TRIPS):
        own = groups[group, KIND + trip] == AI
        for other in range(trip):
            own = own and (groups[group, KIND + other] != AI or groups[group, DAY + other] != groups[group, DAY + trip])
        if own:
            day = on + groups[group, DAY + trip]
            barns[barn, day, GROUPS] += more
            if more > 0:
                barns[barn, day, AT] = groups[group, RANCH]


@inner
def free_barn(groups: Ints, gaps: Ints, barns: Ints, group: int, on: int) -> int:
    """The first barn that can stand at the group's ranch on the days of its sessions; -1 where all are elsewhere."""
    for barn in range(barns.shape[0]):
        free = True
        for trip in range(MOST_TRIPS):
            if groups[group, KIND + trip] == AI:
                day = on + groups[group, DAY + trip]
                for near in range(max(0, day - gaps[barn]), min(barns.shape[1], day + gaps[barn] + 1)):
                    free = free and (barns[barn, near, GROUPS] == 0 or barns[barn, near, AT] == groups[group, RANCH])
        if free:
            return barn
    return -1


@inner
def choose(t: Tables, p: Plan, group: int, picked: Ints) -> None:
    """Give a group a block and options, or none (block -1)."""
    mine = p.chosen[group]
    before, block = mine[BLOCK], picked[BLOCK]
    if mine[SEEN] != p.marks[ROUND]:
        j = p.marks[OLD_GROUPS]
        p.marks[OLD_GROUPS] += 1
        p.old_groups[j, 0] = group
        for i in range(CHOSEN):
            p.old_groups[j, 1 + i] = mine[i]
        mine[SEEN] = p.marks[ROUND]
    if before >= 0:
        p.moves[t.block[before, MOVED]] -= 1
        p.total[OWN_COST] -= t.fixed[before]
        p.marks[OUT] += 1
        if mine[STANDS] >= 0:
            use_barn(t.group, p.barns, group, t.row[t.block[before, ROW], ON], mine[STANDS], -1)
    if block >= 0:
        p.moves[t.block[block, MOVED]] += 1
        p.total[OWN_COST] += t.fixed[block]
        p.marks[OUT] -= 1
        if picked[STANDS] >= 0:
            use_barn(t.group, p.barns, group, t.row[t.block[block, ROW], ON], picked[STANDS], 1)
    mine[BLOCK] = block
    for i in range(STANDS, CHOSEN):
        mine[i] = picked[i]


@inner
def begin(p: Plan) -> None:
    """A new round: nothing in the journal."""
    p.marks[ROUND] += 1
    p.marks[OLD_DAYS] = p.marks[OLD_GROUPS] = 0
    p.total[OLD_ROUTES], p.total[OLD_OWN] = p.total[ROUTES_COST], p.total[OWN_COST]


@inner
def undo(t: Tables, p: Plan) -> None:
    """Take the round back."""
    for j in range(p.marks[OLD_DAYS]):
        key = p.old_days[j, 0]
        for i in range(WIDTH):
            p.days[key, i] = p.old_days[j, 1 + i]
        p.cost[key], p.stops[key] = p.old_cost[j], p.days[key, COUNT]
    for j in range(p.marks[OLD_GROUPS]):
        choose(t, p, p.old_groups[j, 0], p.old_groups[j, 1:])
    p.total[ROUTES_COST], p.total[OWN_COST] = p.total[OLD_ROUTES], p.total[OLD_OWN]


@inner
def leave(t: Tables, p: Plan, option: int, buffers: Ints, touched: Ints) -> None:
    """Take a visit out of its day; ranches of groups that start earlier thereby are marked."""
    days, visits = p.days, t.visit
    row, starts, count = buffers[0], buffers[1], 0
    key, visit = t.option[option, KEY], t.option[option, VISIT]
    for i in range(days[key, COUNT]):
        if days[key, VISITS + i] != visit:
            row[count] = days[key, VISITS + i]
            count += 1
    cost = 0.0
    if count:
        cost = drive(t.km, t.minutes, t.place, visits, t.day[key], t.number, t.day_cost[key], row, count, starts)
    gone = 0
    for i in range(days[key, COUNT]):
        if days[key, VISITS + i] == visit:
            gone = 1
        elif days[key, STARTS + i] != starts[i - gone]:
            other = visits[days[key, VISITS + i], OWNER]
            if other >= 0:
                touched[t.group[other, RANCH]] = 1
    set_day(p, visits, key, row, count, starts, days[key, LOAD] - visits[visit, HEAD], cost)


@inner
def take(t: Tables, p: Plan, group: int, none: Ints, buffers: Ints, touched: Ints) -> None:
    """Take a group out."""
    for work in range(t.group[group, WORKS]):
        leave(t, p, p.chosen[group, OPTIONS + work], buffers, touched)
    choose(t, p, group, none)


@inner
def is_moved(days: Ints, key: int, i: int, before: Ints) -> bool:
    """Whether a visit of a day starts at another hour than it did before."""
    for j in range(before[COUNT]):
        if before[VISITS + j] == days[key, VISITS + i]:
            return before[STARTS + j] != days[key, STARTS + i]
    return False


@inner
def holds(t: Tables, p: Plan, group: int, saved: Ints, busy: Ints, names: Ints, starts: Ints) -> bool:
    """Whether the chute holds at the group's ranch, and at those of others on its days that start at another hour."""
    days, chosen, ranch = p.days, p.chosen, t.group[group, RANCH]
    if entangled(t.block, t.row, t.group, t.place, t.at, chosen, group) and not settles(
        t, days, chosen, ranch, busy, names, starts
    ):
        return False
    for work in range(t.group[group, WORKS]):
        key = saved[work, 0]
        for i in range(days[key, COUNT]):
            other = t.visit[days[key, VISITS + i], OWNER]
            if other < 0 or t.group[other, RANCH] == ranch or not is_moved(days, key, i, saved[work, 1:]):
                continue
            if entangled(t.block, t.row, t.group, t.place, t.at, chosen, other) and not settles(
                t, days, chosen, t.group[other, RANCH], busy, names, starts
            ):
                return False
    return True


@inner
def enter(t: Tables, p: Plan, option: int, cost: float, buffers: Ints, saved: Ints, saved_cost: Floats) -> None:
    """Put a visit on its day as buffers 2 and 3 have it; what was before goes to `saved`, not to the journal."""
    key, visit, days = t.option[option, KEY], t.option[option, VISIT], p.days
    saved[0], saved_cost[0] = key, p.cost[key]
    for i in range(WIDTH):
        saved[1 + i] = days[key, i]
    days[key, COUNT] += 1
    for i in range(days[key, COUNT]):
        days[key, VISITS + i], days[key, STARTS + i] = buffers[2, i], buffers[3, i]
        days[key, PLACES + i] = t.visit[buffers[2, i], PLACE]
    days[key, LOAD] += t.visit[visit, HEAD]
    p.cost[key], p.stops[key] = cost, days[key, COUNT]


@inner
def back(p: Plan, works: int, saved: Ints, saved_cost: Floats) -> None:
    """Days as they were before `enter`, the last first."""
    for work in range(works - 1, -1, -1):
        key = saved[work, 0]
        for i in range(WIDTH):
            p.days[key, i] = saved[work, 1 + i]
        p.cost[key], p.stops[key] = saved_cost[work], p.days[key, COUNT]


@inner
def least(t: Tables, p: Plan, first: int, end: int, place: int) -> float:
    """What the cheapest of these options adds at least, by road; infinite where no day has room for its head."""
    option, alone, day, km, days, stops, per_km = t.option, t.alone, t.day, t.km, p.days, p.stops, t.number[PER_KM]
    found = _INF
    for i in range(first, end):
        key = option[i, KEY]
        count = stops[key]
        if count == 0:
            found = min(found, alone[i])
        elif days[key, LOAD] + option[i, WITH] <= day[key, MOST]:
            home = day[key, BASE]
            shortest, here = _INF, home
            for j in range(count):
                there = days[key, PLACES + j]
                shortest = min(shortest, km[place, here] + km[place, there] - km[here, there])
                here = there
            shortest = min(shortest, km[place, here] + km[place, home] - km[here, home])
            found = min(found, per_km * shortest if shortest > 0.0 else 0.0)
    return found


@inner
def cheapest(t: Tables, p: Plan, block: int, work: int, place: int, most: float, blink: float, buffers: Ints) -> int:
    """The option of a work that adds least and less than `most`, -1 for none; its day in buffers 4 and 5."""
    found, best = -1, most
    for option in range(t.block[block, WORK + work], t.block[block, WORK + work + 1]):
        if least(t, p, option, option + 1, place) >= best:
            continue
        if blink > 0.0 and np.random.random() < blink:
            continue
        key = t.option[option, KEY]
        cost = with_visit(t, p.days, p.cost[key], key, t.option[option, VISIT], buffers) - p.cost[key]
        if cost < best:
            found, best = option, cost
            for i in range(p.days[key, COUNT] + 1):
                buffers[4, i], buffers[5, i] = buffers[2, i], buffers[3, i]
    return found


@inner
def add_rest(
    t: Tables,
    p: Plan,
    block: int,
    works: int,
    place: int,
    most: float,
    picked: Ints,
    buffers: Ints,
    saved: Ints,
    saved_cost: Floats,
) -> float:
    """Put the works after the first on days, each where it is cheapest; what they add, infinite where more than `most`."""
    total = 0.0
    for work in range(1, works):
        option = cheapest(t, p, block, work, place, most - total, 0.0, buffers)
        if option < 0:
            back(p, work - 1, saved[1:], saved_cost[1:])
            return _INF
        key = t.option[option, KEY]
        for i in range(p.days[key, COUNT] + 1):
            buffers[2, i], buffers[3, i] = buffers[4, i], buffers[5, i]
        km, minutes, visits = t.km, t.minutes, t.visit
        day = drive(
            km,
            minutes,
            t.place,
            visits,
            t.day[key],
            t.number,
            t.day_cost[key],
            buffers[2],
            p.days[key, COUNT] + 1,
            buffers[3],
        )
        total += day - p.cost[key]
        picked[OPTIONS + work] = option
        enter(t, p, option, day, buffers, saved[work], saved_cost[work:])
    return total


@inner
def row_bounds(t: Tables, p: Plan, group: int, most: float, w: Work) -> int:
    """For each day of a group that may be chosen: the least that it costs, and its first block; how many days there are."""
    worst, works, place = worst_move(p.moves, int(t.number[FLOOR])), t.group[group, WORKS], t.group[group, RANCH]
    count, row, per_worst, blocks = 0, -1, t.number[PER_WORST], t.block
    for block in range(t.group[group, FIRST], t.group[group + 1, FIRST]):
        if blocks[block, ROW] == row or not blocks[block, OPEN]:
            continue
        row = blocks[block, ROW]
        if t.group[group, BARN] and free_barn(t.group, t.gap, p.barns, group, t.row[row, ON]) < 0:
            continue
        fixed = t.fixed[block] + per_worst * max(0, blocks[block, MOVED] - worst)
        total, first = fixed, 0.0
        for work in range(works):
            if total >= most:
                break
            more = least(t, p, blocks[block, WORK + work], blocks[block, WORK + work + 1], place)
            first = more if work == 0 else first
            total += more
        if total < most:
            w.bounds[count, 0], w.bounds[count, 1], w.bounds[count, 2] = total, fixed, total - fixed - first
            w.first_block[count] = block
            count += 1
    return count


@inner
def try_option(
    t: Tables, p: Plan, group: int, block: int, option: int, fixed: float, rest: float, best: float, w: Work
) -> float:
    """The cost with the first work by this option and all others where they are cheapest, kept in `best` of the room where
    it is less than the best and the chute holds; else the best as it was.
    """
    works, place, key, picked = t.group[group, WORKS], t.group[group, RANCH], t.option[option, KEY], w.picked[0]
    day = with_visit(t, p.days, p.cost[key], key, t.option[option, VISIT], w.buffers)
    cost = fixed + day - p.cost[key]
    if cost + rest >= best:
        return best
    picked[BLOCK], picked[OPTIONS] = block, option
    enter(t, p, option, day, w.buffers, w.saved[0], w.saved_cost)
    if works > 1:
        cost += add_rest(t, p, block, works, place, best - cost, picked, w.buffers, w.saved, w.saved_cost)
    if cost >= best:
        back(p, works if cost < _INF else 1, w.saved, w.saved_cost)
        return best
    for i in range(OPTIONS, CHOSEN):
        p.chosen[group, i] = picked[i]
    p.chosen[group, BLOCK] = block
    if holds(t, p, group, w.saved, w.busy, w.lists[1], w.starts):
        best = cost
        for i in range(CHOSEN):
            w.picked[1, i] = picked[i]
        for work in range(works):
            key = w.saved[work, 0]
            w.best_cost[work] = p.cost[key]
            for i in range(WIDTH):
                w.best[work, i] = p.days[key, i]
    p.chosen[group, BLOCK] = -1
    back(p, works, w.saved, w.saved_cost)
    return best


@inner
def insert(t: Tables, p: Plan, group: int, most: float, blink: float, w: Work) -> bool:
    """Put a group where it adds least, and no more than so much; False where it fits nowhere. The likeliest days first."""
    best, works, place = most, t.group[group, WORKS], t.group[group, RANCH]
    w.picked[1, BLOCK] = -1
    rows = row_bounds(t, p, group, most, w)
    while True:
        day = -1
        for i in range(rows):
            if w.bounds[i, 0] < best and (day < 0 or w.bounds[i, 0] < w.bounds[day, 0]):
                day = i
        if day < 0:
            break
        fixed, rest, block = w.bounds[day, 1], w.bounds[day, 2], w.first_block[day]
        w.bounds[day, 0] = _INF
        row = t.block[block, ROW]
        w.picked[0, STANDS] = -1
        if t.group[group, BARN]:
            w.picked[0, STANDS] = free_barn(t.group, t.gap, p.barns, group, t.row[row, ON])
        while block < t.group[group + 1, FIRST] and t.block[block, ROW] == row:
            if works == 1 or np.random.random() >= _PASSED:
                for option in range(t.block[block, WORK], t.block[block, WORK + 1]):
                    more = least(t, p, option, option + 1, place)
                    if fixed + rest + more < best and np.random.random() >= blink:
                        best = try_option(t, p, group, block, option, fixed, rest, best, w)
            block += 1
    if w.picked[1, BLOCK] < 0:
        return False
    for work in range(works):
        on = w.best[work]
        key = t.option[w.picked[1, OPTIONS + work], KEY]
        set_day(p, t.visit, key, on[VISITS:], on[COUNT], on[STARTS:], on[LOAD], w.best_cost[work])
    choose(t, p, group, w.picked[1])
    return True


# -- rounds -------------------------------------------------------------------------------------------------------
@inner
def shuffle(names: Ints, count: int) -> None:
    """In an order by chance."""
    for i in range(count - 1, 0, -1):
        j = np.random.randint(0, i + 1)
        names[i], names[j] = names[j], names[i]


@inner
def nearby(groups: Ints, near: Ints, seed: int, most: int, spare: Ints) -> int:
    """The nearest groups, so many at most, in an order by chance; how many there are."""
    wide = 0
    for i in range(min(most, near.shape[1])):
        if near[seed, i] < 0:
            break
        if not groups[near[seed, i], PLAYS]:
            continue
        spare[wide] = near[seed, i]
        wide += 1
    shuffle(spare, wide)
    return wide


@inner
def neighbours(groups: Ints, near: Ints, seed: int, size: int, names: Ints, spare: Ints) -> int:
    """A group and some that are near in place and time."""
    names[0] = seed
    wide = min(size - 1, nearby(groups, near, seed, size * 3, spare))
    for i in range(wide):
        names[1 + i] = spare[i]
    return 1 + wide


@inner
def new_key(t: Tables, picked: Ints, works: int, keys: Ints, found: int) -> int:
    """The first of a group's technician-days that is not among the keys, -1 where all are."""
    for work in range(works):
        key, known = t.option[picked[OPTIONS + work], KEY], False
        for j in range(found):
            known = known or keys[j] == key
        if not known:
            return key
    return -1


@inner
def technician_days(t: Tables, days: Ints, chosen: Ints, seed: int, names: Ints, spare: Ints, keys: Ints) -> int:
    """The groups of one to three technician-days near each other."""
    most, count, found = np.random.randint(1, 4), 0, 0
    wide = nearby(t.group, t.near, seed, 12, spare)
    for i in range(-1, wide):
        group = seed if i < 0 else spare[i]
        key = -1
        if chosen[group, BLOCK] >= 0:
            key = new_key(t, chosen[group], t.group[group, WORKS], keys, found)
        if key < 0:
            continue
        keys[found] = key
        found += 1
        for j in range(days[key, COUNT]):
            owner = t.visit[days[key, VISITS + j], OWNER]
            if owner >= 0:
                names[count] = owner
                count += 1
        if found >= most:
            break
    return count


@inner
def ruin(t: Tables, p: Plan, names: Ints, spare: Ints, keys: Ints) -> int:
    """What to take out."""
    groups = p.chosen.shape[0]
    size, kind, count = np.random.randint(2, 11), np.random.random(), 0
    if p.marks[OUT] and np.random.random() < 0.2:
        begun = np.random.randint(0, groups)
        for i in range(groups):
            group = (begun + i) % groups
            if p.chosen[group, BLOCK] < 0 and t.group[group, PLAYS]:
                names[count] = group
                count += 1
                if count == 3:
                    break
    seed = np.random.randint(0, groups)
    while not t.group[seed, PLAYS]:
        seed = np.random.randint(0, groups)
    if kind < 0.5:
        return count + neighbours(t.group, t.near, seed, size, names[count:], spare)
    if kind < 0.85:
        return count + technician_days(t, p.days, p.chosen, seed, names[count:], spare, keys)
    for _ in range(min(size, groups)):
        names[count] = np.random.randint(0, groups)
        count += t.group[names[count], PLAYS]
    return count


@inner
def arrange(hardness: Floats, names: Ints, count: int) -> None:
    """The order in which groups go back: by chance, or the hardest first in one of three ways."""
    shuffle(names, count)
    kind = np.random.random()
    if kind >= 0.6:
        return
    way = 0 if kind < 0.3 else (1 if kind < 0.5 else 2)
    for i in range(1, count):
        group, j = names[i], i - 1
        while j >= 0 and hardness[way, names[j]] < hardness[way, group]:
            names[j + 1] = names[j]
            j -= 1
        names[j + 1] = group


@inner
def untangle(t: Tables, p: Plan, names: Ints, count: int, w: Work) -> int:
    """Where stops that moved up collide in the chute, take the entangled groups out, too."""
    again = True
    while again:
        again = False
        for place in range(w.touched.shape[0]):
            if not w.touched[place]:
                continue
            w.touched[place] = 0
            if settles(t, p.days, p.chosen, place, w.busy, w.lists[1], w.starts):
                continue
            again = True
            for i in range(t.place[place, AT_FIRST], t.place[place + 1, AT_FIRST]):
                group = t.at[i]
                if (
                    p.chosen[group, BLOCK] >= 0
                    and entangled(t.block, t.row, t.group, t.place, t.at, p.chosen, group)
                    and count < _NAMES - 1
                ):
                    take(t, p, group, w.picked[2], w.buffers, w.touched)
                    names[count] = group
                    count += 1
    return count


@inner
def one_round(t: Tables, p: Plan, limit: float, blink: float, w: Work) -> bool:
    """Take groups out and put them back; False where that costs more than the limit."""
    names = w.lists[0]
    unplaced = t.number[UNPLACED]
    count, out = ruin(t, p, names, w.lists[1], w.lists[2]), 0
    begin(p)
    for i in range(count):
        group, known = names[i], False
        for j in range(out):
            known = known or names[j] == group
        if known:
            continue
        names[out] = group
        out += 1
        if p.chosen[group, BLOCK] >= 0:
            take(t, p, group, w.picked[2], w.buffers, w.touched)
    out = untangle(t, p, names, out, w)
    arrange(t.hardness, names, out)
    for i in range(out):
        left = limit - cost_of(t.number, p.moves, p.total, p.marks) + unplaced * (out - i)
        if left < 0.0:
            return False
        if not insert(t, p, names[i], left, blink, w) and left < unplaced:
            return False
    return cost_of(t.number, p.moves, p.total, p.marks) <= limit


@inner
def remember(days: Ints, old_days: Ints, marks: Ints, pool: Ints, index: Ints) -> None:
    """Put the days that the round changed into the pool, each once, while there is room."""
    size, room = index.shape[0], pool.shape[0]
    for j in range(marks[OLD_DAYS]):
        key = old_days[j, 0]
        count = days[key, COUNT]
        if count < 1 or marks[POOLED] >= room:
            continue
        code = key * 1000003
        for i in range(count):
            visit = days[key, VISITS + i]
            code += (visit + 7) * (visit * 2654435761 % 1000000007)
        place = code % size
        while index[place] >= 0:
            entry = index[place]
            same = pool[entry, 0] == key and pool[entry, 1] == count
            for i in range(count):
                same = same and pool[entry, 2 + i] == days[key, VISITS + i]
            if same:
                break
            place = (place + 1) % size
        if index[place] < 0:
            entry = marks[POOLED]
            marks[POOLED] += 1
            index[place] = entry
            pool[entry, 0], pool[entry, 1] = key, count
            for i in range(count):
                pool[entry, 2 + i] = days[key, VISITS + i]


@inner
def note_changes(old_days: Ints, marks: Ints, dirty: Ints) -> None:
    """Days that were changed since the best plan: each once in the first column, marked in the second."""
    for j in range(marks[OLD_DAYS]):
        key = old_days[j, 0]
        if not dirty[key, 1]:
            dirty[key, 1] = 1
            dirty[marks[DIRTY], 0] = key
            marks[DIRTY] += 1


@inner
def keep_best(days: Ints, best_days: Ints, marks: Ints, dirty: Ints) -> None:
    """The plan is the best so far."""
    for j in range(marks[DIRTY]):
        key = dirty[j, 0]
        dirty[key, 1] = 0
        for i in range(WIDTH):
            best_days[key, i] = days[key, i]
    marks[DIRTY] = 0


def room(tables: Tables) -> Work:
    """Room to work in. Nothing checks bounds in machine code: there is room for all groups of a ranch with all their lots."""
    groups = int(np.diff(tables.place[:, AT_FIRST]).max(initial=0))
    spans = int(np.diff(tables.place[:, TAKEN_FIRST]).max(initial=0)) + groups * MOST_TRIPS * MOST_LOTS
    return Work(
        touched=np.zeros(len(tables.place), np.int32),
        lists=np.zeros((3, max(_NAMES, groups)), np.int32),
        buffers=np.zeros((6, MOST_STOPS + 1), np.int32),
        busy=np.zeros((spans + 1, 2), np.int32),
        starts=np.zeros((groups + 1, max(3, MOST_TRIPS)), np.int32),
        saved=np.zeros((MOST_WORKS, 1 + WIDTH), np.int32),
        saved_cost=np.zeros(MOST_WORKS, np.float64),
        best=np.zeros((MOST_WORKS, WIDTH), np.int32),
        best_cost=np.zeros(MOST_WORKS, np.float64),
        picked=np.full((3, CHOSEN), -1, np.int32),
        bounds=np.zeros((MOST_ROWS, 3), np.float64),
        first_block=np.zeros(MOST_ROWS, np.int32),
    )


@inner
def keep_chosen(chosen: Ints, best: Ints) -> None:
    """What is chosen is the best so far."""
    for group in range(chosen.shape[0]):
        for i in range(CHOSEN):
            best[group, i] = chosen[group, i]


@compiled
def improve(t: Tables, p: Plan, w: Work, rounds: int, heat: float, blink: float) -> int:
    """So many rounds at a temperature; how many were kept. The best plan seen stays in `best_*`."""
    current, kept = cost_of(t.number, p.moves, p.total, p.marks), 0
    for _ in range(rounds):
        if not one_round(t, p, current - heat * np.log(1.0 - np.random.random()), blink, w):
            undo(t, p)
            for place in range(w.touched.shape[0]):
                w.touched[place] = 0
            continue
        kept += 1
        current = cost_of(t.number, p.moves, p.total, p.marks)
        remember(p.days, p.old_days, p.marks, p.pool, p.pool_index)
        note_changes(p.old_days, p.marks, p.dirty)
        if current < p.total[BEST_COST] - 1e-6:
            p.total[BEST_COST] = current
            keep_best(p.days, p.best_days, p.marks, p.dirty)
            keep_chosen(p.chosen, p.best_chosen)
    return kept


def is_kept() -> bool:
    """Whether the machine code of this file is there: made by this process, or kept on disk by another of this Python."""
    code: Any = improve
    if code.signatures:
        return True
    folder, stamp = Path(code.stats.cache_path or ""), Path(__file__).stat().st_mtime
    python = f"py{sys.version_info.major}{sys.version_info.minor}"
    return any(found.stat().st_mtime >= stamp for found in folder.glob(f"machine.improve-*.{python}.nbi"))
