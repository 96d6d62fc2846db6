"""Bands around AI: when cattle may be hauled and feed changed, and planned moves held against them. AI day is day 0."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from scheduling.kernel.advice.figures import Cited
from scheduling.kernel.advice.units import day_words
from scheduling.kernel.advice.whys import WHYS


class Light(StrEnum):
    """What a band says of a move."""

    OPEN = "open"
    CARE = "care"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Band:
    """Days after AI, both ends included, and what may be done in them. `last` None has no end."""

    first: int
    last: int | None
    light: Light
    text: str

    def days(self, ai_day: date) -> tuple[date, date | None]:
        """First and last calendar day."""
        return ai_day + timedelta(days=self.first), None if self.last is None else ai_day + timedelta(days=self.last)


# Days 1-4 safest, 5-42 closed, 6 % still lost at 45-60: "Hauling Pregnant Cows", Ohio State University Extension, 2015;
# "Movement/transportation after AI", South Dakota State University, undated. Days 43 and 44 are in no sheet and count as
# closed; so does AI day itself, of which no sheet says that it is safe.
SAFE_TO_HAUL, PRINTED_CLOSED, HAUL_AGAIN, HAUL_FREELY = (1, 4), (5, 42), 45, 61
NO_HAUL = (PRINTED_CLOSED[0], HAUL_AGAIN - 1)
HAUL_BANDS = (
    Band(0, 0, Light.CARE, "AI day itself: let her rest; the safe days to haul begin tomorrow."),
    Band(
        *SAFE_TO_HAUL,
        Light.OPEN,
        "The safest days to haul. Common practice says days 2 to 5, but day 5 is closed in print.",
    ),
    Band(
        *NO_HAUL,
        Light.CLOSED,
        "Do not haul: the embryo is on its way and attaching; about one pregnancy in ten is lost.",
    ),
    Band(HAUL_AGAIN, HAUL_FREELY - 1, Light.CARE, "Some risk is left: about 6 % of pregnancies were lost."),
    Band(HAUL_FREELY, None, Light.OPEN, "No sheet warns of hauling now; in heat the usual care holds."),
)
# Same feed and place from 21 days before to 21 after AI, or adapted at least 28 days before; otherwise a supplement for 42
# days: rule drawn from "Replacement heifer management post-artificial insemination", SDSU Extension (equal gain after 27
# days), "Heifer Nutrition After AI Breeding", a Midwestern state university extension (42 days of supplement), and an
# 813-heifer trial (adapted 50 days earlier), all undated.
FEED_SAME_BEFORE, FEED_SAME_AFTER = 21, 21
FEED_ADAPTED, FEED_SUPPLEMENT = 28, 42


class MoveKind(StrEnum):
    """What is planned."""

    HAUL = "haul"
    FEED_CHANGE = "feed change"


@dataclass(frozen=True, slots=True)
class Move:
    """A planned move of a group on a day. `supplement`: extra feed is planned for six weeks from then."""

    day: date
    kind: MoveKind
    words: str
    supplement: bool = False


@dataclass(frozen=True, slots=True)
class MoveChecked:
    """A planned move held against the bands, with the day that would be better where there is one."""

    move: Move
    light: Light
    code: str
    sentence: str
    better: date | None

    @property
    def sources(self) -> tuple[Cited, ...]:
        """Who printed the bands."""
        return WHYS[self.code].sources


def check_moves(ai_day: date, moves: Sequence[Move]) -> tuple[MoveChecked, ...]:
    """Every planned move held against the bands around AI, in the order of the days."""
    ordered = sorted(moves, key=lambda move: (move.day, move.kind))
    return tuple(_check_haul(ai_day, m) if m.kind is MoveKind.HAUL else _check_feed(ai_day, m) for m in ordered)


def _check_haul(ai_day: date, move: Move) -> MoveChecked:
    day = (move.day - ai_day).days
    if day < 0:
        text = f"{move.words}: {-day} days before AI; no band speaks against it. Keep the feed the same."
        return MoveChecked(move, Light.OPEN, "haul", text, None)
    band = next(b for b in HAUL_BANDS if b.first <= day and (b.last is None or day <= b.last))
    better = None
    if band.light is not Light.OPEN:
        better = (
            ai_day + timedelta(days=1)
            if day == 0
            else ai_day + timedelta(days=HAUL_AGAIN if day < HAUL_AGAIN else HAUL_FREELY)
        )
    text = f"{move.words}: day {day} after AI. {band.text}"
    if better is not None:
        text += (
            f" Better before {day_words(ai_day + timedelta(days=NO_HAUL[0]))} or from {day_words(better)}."
            if day
            else ""
        )
    return MoveChecked(move, band.light, "haul", text, better)


def _check_feed(ai_day: date, move: Move) -> MoveChecked:
    day = (move.day - ai_day).days
    if -FEED_ADAPTED < day <= FEED_SAME_AFTER:
        light = Light.CARE if move.supplement else Light.CLOSED
        early, late = ai_day - timedelta(days=FEED_ADAPTED), ai_day + timedelta(days=FEED_SAME_AFTER + 1)
        text = f"{move.words}: {_from_ai(day)}. Change by {day_words(early)} or from {day_words(late)}"
        text += "." if move.supplement else f", or feed a supplement for {FEED_SUPPLEMENT} days."
        return MoveChecked(move, light, "feed", text, late if day >= 0 else early)
    text = f"{move.words}: {_from_ai(day)}; far enough from AI."
    return MoveChecked(move, Light.OPEN, "feed", text, None)


def _from_ai(day: int) -> str:
    return f"day {day} after AI" if day > 0 else "on AI day" if day == 0 else f"{-day} days before AI"
