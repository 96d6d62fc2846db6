"""The table of reminder rules: what each is tied to, when it comes, who gets it. People change it on their page."""

from dataclasses import dataclass
from datetime import time

from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

RANCHER, TECHNICIAN, COORDINATOR = "rancher", "technician", "coordinator"
STEP, BOOKING, ITEM, MOVE = "step", "booking", "item", "move"
EMAIL, PUSH, SERVICE = "email", "push", "service"
CHANNEL_WORDS = {EMAIL: _("E-mail"), PUSH: _("This site's push messages"), SERVICE: _("My message services")}
USUAL_CHANNELS = (EMAIL,)
QUIET_FROM, QUIET_TO = time(21, 0), time(5, 0)  # common practice; a person changes it


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `marks` are (mark of a step, days from that step to the day that matters); `items` are keys of dated items of a
    group (`scheduling.services.season_items`), whose first day matters.

    Either `at` is set (local time, `days` before the day that matters) or the reminder comes `minutes` before the step's
    `anchor`. `fixed` rules cannot be switched off; `plan` ones are not tied to a row of the sweep.
    """

    code: str
    title: StrOrPromise
    explains: StrOrPromise
    roles: tuple[str, ...]
    about: str = STEP
    marks: tuple[tuple[str, int], ...] = ()
    items: tuple[str, ...] = ()
    days: int = 0
    at: time | None = None
    minutes: int = 0
    anchor: str = "starts"
    fixed: bool = False
    plan: bool = False

    @property
    def purpose(self) -> str:
        """The word in the outbox and in keys."""
        return self.code.replace("_", " ")

    @property
    def after(self) -> bool:
        """Whether it is about days after the step, so that a step that is done still counts."""
        return any(days > 0 for _, days in self.marks) or self.anchor == "ends"


_EVENING, _NOON, _MORNING = time(17, 30), time(12, 0), time(8, 0)

# Lead times are common practice unless a source stands above; every one can be changed.
RULES: tuple[Rule, ...] = (
    Rule(
        "evening_before",
        _("The evening before"),
        _("Sort and pen, check the list, count the doses; at AI also the tank level."),
        (RANCHER,),
        marks=(("any", 0),),
        days=1,
        at=_EVENING,
    ),
    Rule(
        "technician_evening",
        _("My stops, the evening before"),
        _("Tank level, semen list, gear, and when to leave."),
        (TECHNICIAN,),
        about=BOOKING,
        days=1,
        at=_EVENING,
    ),
    Rule(
        "insert_out",
        _("The hour of insert removal"),
        _("Inserts must come out at the planned hour: the AI hour counts from it."),
        (RANCHER, TECHNICIAN),
        marks=(("insert_out", 0),),
        minutes=60,
    ),
    Rule(
        "second_pg",
        _("Second PG, eight hours later"),
        _("Five-day programmes give PG twice on one day; the second dose is easily forgotten."),
        (RANCHER, TECHNICIAN),
        marks=(("second_pg", 0),),
        minutes=60,
    ),
    Rule(
        "mga_last",
        _("Last MGA feeding"),
        _("The last day of MGA: every heifer ate it, and nothing of it is fed afterwards."),
        (RANCHER,),
        marks=(("mga_last", 0),),
        days=1,
        at=_EVENING,
    ),
    Rule(
        "weigh_and_score",
        _("Weigh heifers, score cows"),
        _("Comes on the first day of each of the two times at which it helps, while there is time to feed."),
        (RANCHER,),
        items=("weigh_first", "weigh_again", "score_first", "score_again"),
        at=_MORNING,
    ),
    Rule(
        "pre_breeding_exam",
        _("Pre-breeding exam of heifers"),
        _("Tract scores and pelvises, four to six weeks before AI: book the veterinarian."),
        (RANCHER,),
        items=("exam",),
        days=14,
        at=_MORNING,
    ),
    Rule(
        "boosters",
        _("Vaccines before breeding"),
        _("First doses and boosters, so that the last comes 30 days before AI."),
        (RANCHER,),
        items=("first_dose", "boosters"),
        days=7,
        at=_MORNING,
    ),
    Rule(
        "ration_changes",
        _("Ration changes before AI"),
        _("Comes when there is time to feed for weight or condition; it names the last day of a change."),
        (RANCHER,),
        items=("ration",),
        at=_MORNING,
    ),
    Rule(
        "facility_check",
        _("Check of chute, alley and cover"),
        _("Six weeks before the programme, while something can still be mended."),
        (RANCHER,),
        items=("facility",),
        at=_MORNING,
    ),
    Rule(
        "open_before_pg",
        _("Who may be pregnant"),
        _("Three weeks before PG, so that somebody can be booked to check: PG ends a pregnancy."),
        (RANCHER,),
        items=("open",),
        days=7,
        at=_MORNING,
    ),
    Rule(
        "bull_exam",
        _("Breeding soundness exam of bulls"),
        _("One to two months before bulls go in, so that a bull that fails can be replaced."),
        (RANCHER,),
        items=("bull_exam",),
        days=7,
        at=_MORNING,
    ),
    Rule(
        "orders_due",
        _("Orders due"),
        _("Semen, doses and gear, and the filling of the tank, each on the first day of its time."),
        (RANCHER,),
        items=("semen", "drugs", "nitrogen"),
        at=_MORNING,
    ),
    Rule(
        "crew_confirmation",
        _("Crew confirmation, three days ahead"),
        _("Ask the crew to confirm, before every trip through the chute."),
        (RANCHER,),
        marks=(("chute", 0),),
        days=3,
        at=_NOON,
    ),
    Rule(
        "visit_confirmation",
        _("My visits, three days ahead"),
        _("Confirm with the ranch: hour, head, crew, chute."),
        (TECHNICIAN,),
        about=BOOKING,
        days=3,
        at=_NOON,
    ),
    Rule(
        "second_session",
        _("Second session of split-time AI"),
        _("Comes as soon as the first session closes, with the hour of the second."),
        (RANCHER, TECHNICIAN),
        marks=(("session_1", 0),),
        anchor="ends",
    ),
    Rule(
        "no_haul",
        _("No hauling after AI"),
        _("The last day on which cattle may be hauled, and the first day on which they may be hauled again."),
        (RANCHER,),
        items=("haul",),
        days=1,
        at=_MORNING,
    ),
    Rule(
        "planned_move",
        _("A haul or change of feed that you planned"),
        _("With a warning where it falls on days on which cattle should stay or feed should not change, or into heat."),
        (RANCHER,),
        about=MOVE,
        days=1,
        at=_EVENING,
    ),
    Rule(
        "bull_turn_in",
        _("Bull turn-in"),
        _("The day before bulls go in."),
        (RANCHER,),
        marks=(("bulls", 0),),
        items=("bulls",),
        days=1,
        at=_EVENING,
    ),
    Rule(
        "pregnancy_check",
        _("Pregnancy check"),
        _("Book the veterinarian in good time for the check."),
        (RANCHER,),
        items=("check",),
        days=10,
        at=_MORNING,
    ),
    Rule(
        "plan_changed",
        _("A plan is published or changed"),
        _("What is new, moved or cancelled for you, in one message."),
        (RANCHER, TECHNICIAN),
        plan=True,
    ),
    Rule(
        "same_day_change",
        _("A change for the next 24 hours"),
        _("Asks for one tap; without it the coordinator calls you. It cannot be switched off."),
        (RANCHER, TECHNICIAN),
        fixed=True,
        plan=True,
    ),
    Rule(
        "call_list",
        _("Somebody has to be called"),
        _("A change for the next 24 hours was not seen in time."),
        (COORDINATOR,),
        fixed=True,
        plan=True,
    ),
)
BY_CODE = {rule.code: rule for rule in RULES}
BY_ITEM = {key: rule for rule in RULES for key in rule.items}
# Their own reminders speak of these steps; the general one of the evening before keeps silent.
_OWN_REMINDER = frozenset({"mga_last", "bulls"})
LONGEST_LEAD_DAYS, LONGEST_AFTER_DAYS = 28, 60


def day_offset(rule: Rule, marks: frozenset[str]) -> int | None:
    """Days from a step with these marks to the day that matters; None where the rule is not about the step."""
    for mark, days in rule.marks:
        if mark == "any":
            return None if marks & _OWN_REMINDER else days
        if mark in marks:
            return days
    return None
