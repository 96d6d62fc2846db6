"""What waits for the coordinator: the concerns of seasons that are not over, each with the page where it is settled."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from scheduling.models import Booking, ClashAnswer, PlanVersion, Season
from scheduling.services.done_hours import off_hours

_MOST = 5


@dataclass(frozen=True, slots=True)
class Concern:
    """One thing to settle. `page` is the name of the season's page for it."""

    season: Season
    text: str
    page: str
    pressing: bool = False


def concerns_of(seasons: Sequence[Season], now: datetime) -> tuple[Concern, ...]:
    """Concerns of the seasons that are not over, the pressing ones first. Two queries, one more for each published season,
    and a few for one with steps that were done at other hours than planned.

    `seasons` come with their plan in work.
    """
    live = [season for season in seasons if now.astimezone(ZoneInfo(season.zone)).date() <= season.last_day]
    keys = [season.pk for season in live]
    declined = Counter(
        Booking.objects.filter(entry__season__in=keys, answer="declined", starts__gte=now)
        .exclude(status="cancelled")
        .values_list("entry__season_id", flat=True)
    )
    unanswered = Counter(
        ClashAnswer.objects.filter(remedy__case__season__in=keys, state="waiting").values_list(
            "remedy__case__season_id", flat=True
        )
    )
    found = [*_of_steps(live, now)]
    found += [
        concern
        for season in live
        for concern in (
            *_of_plan(season, season.plan),
            *_of_people(season, declined[season.pk], unanswered[season.pk]),
        )
    ]
    return tuple(sorted(found, key=lambda concern: not concern.pressing))


def _of_plan(season: Season, plan: PlanVersion | None) -> list[Concern]:
    if plan is None:
        return [Concern(season, "It is not planned yet.", "season")]
    found = []
    if plan.broken:
        found.append(Concern(season, f"Plan {plan.number} has {_many(len(plan.broken), 'clash')}.", "season", True))
    out = len(plan.document.get("unplaced", ()))
    if out:
        found.append(Concern(season, f"{_many(out, 'group')} without a place.", "season", True))
    if plan.pk != season.published_plan_id:
        found.append(Concern(season, f"Plan {plan.number} is a draft: nobody sees it before you publish.", "season"))
    return found


def _of_steps(seasons: Sequence[Season], now: datetime) -> Iterator[Concern]:
    for season in seasons:
        if season.published_plan_id is not None:
            for text in off_hours(season, now)[:_MOST]:
                yield Concern(season, text, "done", True)


def _of_people(season: Season, declined: int, unanswered: int) -> list[Concern]:
    found = []
    if declined:
        found.append(Concern(season, f"{_many(declined, 'visit')} declined by the technician.", "answers", True))
    if unanswered:
        found.append(Concern(season, f"{_many(unanswered, 'question')} to ranches without an answer.", "clashes"))
    return found


def _many(count: int, noun: str) -> str:
    if count == 1:
        return f"1 {noun}"
    return f"{count} {noun}es" if noun.endswith("sh") else f"{count} {noun}s"
