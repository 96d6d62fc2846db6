"""The words of events in the reader's language. Looked up once a language: gettext for every word of every event of a cold
feed would take longer than everything else.
"""

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache, lru_cache

from django.utils import translation
from django.utils.dates import MONTHS, WEEKDAYS, WEEKDAYS_ABBR
from django.utils.translation import gettext as _

from accounts.units import KM_PER_MILE
from scheduling.services import StepWords, step_words
from scheduling.services.lots import LOT_WORDS, fill_lot_words
from scheduling.services.waiting import IN_ORDER, NOT_BEFORE, Wait, fill_wait_words


@dataclass(frozen=True, slots=True)
class Phrases:
    """Sentences with places to fill, ready in one language."""

    weekdays: tuple[str, ...]
    short_weekdays: tuple[str, ...]
    months: tuple[str, ...]
    when: str
    who: str
    technician: str
    crew: str
    doses: str
    ready: str
    caution: str
    step: str
    leave: str
    miles: str
    km: str
    stop_who: str
    semen: str
    barn: str
    bring: str
    stop: str
    lot: str
    in_order: str
    not_before: str
    load: str
    one: str
    many: str
    full: str
    load_line: str
    load_lines: str
    classes: dict[str, str]
    other_class: str
    closing: str
    closed: str
    closed_text: str

    def moment(self, local: datetime) -> str:
        """ "Monday 3 May 2027, 16:30 (MDT)"."""
        return self.when % {
            "weekday": self.weekdays[local.weekday()], "day": local.day, "month": self.months[local.month - 1],
            "year": local.year, "clock": f"{local.hour:02d}:{local.minute:02d}", "zone": local.tzname(),
        }  # fmt: skip

    def females(self, animal_class: str) -> str:
        """The class in words."""
        return self.classes.get(animal_class, self.other_class)

    def which(self, lot: int, lots: int) -> str:
        """ ", lot 1 of 2", to follow what is said of the group; nothing where it is not cut. `lot` counts from 0."""
        return _which(lot, lots, self.lot)

    def waits(self, wait: Wait | None) -> tuple[str, ...]:
        """The line on who has to wait at a session, or none."""
        return (str(fill_wait_words(wait, self.in_order, self.not_before, self.short_weekdays)),) if wait else ()

    def road(self, km: float, unit: str) -> str:
        """A distance in the reader's unit."""
        return self.miles % round(km / KM_PER_MILE) if unit == "mi" else self.km % round(km)


@lru_cache(maxsize=4096)
def _which(lot: int, lots: int, words: str) -> str:
    said = fill_lot_words(lot + 1, lots, words)
    return f", {said}" if said else ""


@cache
def phrases(language: str) -> Phrases:
    """All of them in a language."""
    with translation.override(language):
        return Phrases(
            weekdays=tuple(str(WEEKDAYS[number]) for number in range(7)),
            short_weekdays=tuple(str(WEEKDAYS_ABBR[number]) for number in range(7)),
            months=tuple(str(MONTHS[number]) for number in range(1, 13)),
            when=_("%(weekday)s %(day)d %(month)s %(year)d, %(clock)s (%(zone)s)"),
            who=_("%(head)d head, %(group)s (%(class)s), %(ranch)s. %(who)s"),
            technician=_("A technician of the co-op comes."),
            crew=_("The ranch's own crew."),
            doses=_("Doses: %(doses)s"),
            ready=_("Have ready: %(things)s."),
            caution=_("Caution: %(caution)s"),
            step=_("%(place)s%(step)s: %(head)d head, %(group)s"),
            leave=_("Leave %(clock)s: %(road)s, %(minutes)d min."),
            miles=_("%d mi"),
            km=_("%d km"),
            stop_who=_("%(head)d head, %(group)s (%(class)s)."),
            semen=_(
                "Semen list: %(head)d straws at least, one a head, for %(group)s; "
                "count them against the tank before leaving."
            ),
            barn=_("Barn: %(barn)s."),
            bring=_("Bring: %(things)s."),
            stop=_("%(ranch)s: %(step)s, %(head)d head"),
            lot=_(LOT_WORDS),
            in_order=_(IN_ORDER),
            not_before=_(NOT_BEFORE),
            load=_("Load: %(head)d head of AI, %(people)s%(full)s"),
            one=_("%d technician"),
            many=_("%d technicians"),
            full=_(", one nearly full"),
            load_line=_("%(name)s: %(stops)d stop, %(head)d of %(limit)d head of AI, %(road)s out"),
            load_lines=_("%(name)s: %(stops)d stops, %(head)d of %(limit)d head of AI, %(road)s out"),
            classes={"heifer": _("heifers"), "cow": _("cows")},
            other_class=_("Bos indicus-influenced cows"),
            closing=_("The label, your veterinarian and local rules come first."),
            closed=_("This calendar feed is closed"),
            closed_text=_("Remove this subscription. A new address is made on the page Calendar."),
        )


@dataclass(frozen=True, slots=True)
class Speech:
    """What is the same each time that a step or its trip comes: its name, and doses, gear and cautions as ranch and
    technician read them.
    """

    label: str
    ai: bool
    ranch: str
    technician: str


@cache
def speech(protocol: str, key: str, language: str) -> Speech:
    """Of a step or its trip, in a language."""
    words, say = _words_in(protocol, key, language), phrases(language)
    doses = [say.doses % {"doses": words.doses}] if words.doses else []
    ready = [say.ready % {"things": words.prepare}] if words.prepare else []
    bring = [say.bring % {"things": words.prepare}] if words.prepare else []
    end = [*([say.caution % {"caution": words.caution}] if words.caution else []), say.closing]
    return Speech(words.label, words.kind == "ai", "\n".join([*doses, *ready, *end]), "\n".join([*bring, *end]))


def _words_in(protocol: str, key: str, language: str) -> StepWords:
    """The words for a step or its trip, in a language."""
    words = step_words(protocol, key)
    with translation.override(language):
        return replace(
            words,
            label=_(words.label),
            doses=_(words.doses) if words.doses else "",
            prepare=_(words.prepare) if words.prepare else "",
            caution=_(words.caution) if words.caution else "",
        )
