"""The catalogue in the words of pages, calendars and reminders."""

from dataclasses import dataclass
from functools import cache

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import AnimalClass, Category, Protocol, Step, Substance
from scheduling.kernel.sessions import HEAT_PREFIX

PG_CAUTION = (
    "PG can cause miscarriage and asthma attacks: pregnant women and people with asthma keep away from it; "
    "wear gloves, wash spills at once. Read the label; ask the veterinarian."
)
_PREPARE = {
    Substance.PG: "PG doses counted, new needles, gloves, sharps box",
    Substance.GNRH: "GnRH doses counted and kept cool, new needles",
    Substance.INSERT: "inserts counted, applicator, disinfectant, gloves",
    Substance.SEMEN: "semen list, tank level, thaw bath at the label's temperature, sleeves, sheaths",
    Substance.MGA: "MGA feed weighed, bunk space for every heifer",
}
TANK_CAUTION = (
    "Liquid nitrogen burns and takes the air out of a closed cab: face shield, loose gloves, never beside people."
)


@dataclass(frozen=True, slots=True)
class StepWords:
    """A step, or a whole chute trip, for people. `kind` is ai, treat, feed, watch or bulls."""

    label: str
    kind: str
    symbol: str
    doses: str
    prepare: str
    caution: str
    trip: int | None
    keys: tuple[str, ...]


HEAT_AI = "AI of females seen in heat"
_SYMBOLS = {"ai": "●", "treat": "▲", "watch": "◆", "feed": "■", "bulls": "■"}


def protocol_of(identity: str) -> Protocol | None:
    """The protocol of the catalogue, or None where this edition does not know it."""
    return load_catalogue().protocols.get(identity)


def protocol_name(identity: str) -> str:
    """The protocol's name with its class, or its id where this edition does not know it."""
    protocol = protocol_of(identity)
    return protocol.name if protocol else identity


def is_for_sexed(identity: str) -> bool:
    """Whether the protocol is made for sex-sorted semen."""
    protocol = protocol_of(identity)
    return protocol is not None and protocol.category is Category.SEXED


def choices_for(animal_class: str | None = None) -> list[tuple[str, str]]:
    """Protocols for a class of female (all where none is given), as choices of a form."""
    wanted = AnimalClass(animal_class) if animal_class else None
    rows = [item for item in load_catalogue().protocols.values() if wanted is None or item.fits(wanted)]
    return [(item.id, _choice(item)) for item in sorted(rows, key=lambda item: (_rank(item), item.name))]


def choices_by_class() -> list[tuple[str, list[tuple[str, str]]]]:
    """All protocols under the class that they are for, where the group is not known yet: many names stand for two of them."""
    names = {"heifer": "For heifers", "cow": "For cows", "heifer_or_cow": "For heifers and cows"}
    groups: dict[str, list[tuple[str, str]]] = {}
    for item in sorted(load_catalogue().protocols.values(), key=lambda item: (_rank(item), item.name)):
        groups.setdefault(item.animal_class, []).append((item.id, _choice(item)))
    return [
        (names.get(key, "For cows, Bos indicus-influenced"), rows) for key, rows in sorted(groups.items(), reverse=True)
    ]


def _choice(protocol: Protocol) -> str:
    trips = len(protocol.trips)
    return f"{protocol.name} ({trips} chute trip{'' if trips == 1 else 's'}, {_timing(protocol)})"


def _timing(protocol: Protocol) -> str:
    if len(protocol.ai_steps) > 1:
        return "AI in two sessions"
    if protocol.ai_steps and protocol.heat_watches:
        return "heat detection, then timed AI"
    if protocol.ai_steps:
        return "timed AI"
    return "AI after heat" if protocol.heat_watches else "bulls"


def _rank(protocol: Protocol) -> int:
    return 0 if protocol.status.startswith("recommended") else 1


@cache
def step_words(protocol_id: str, key: str) -> StepWords:
    """Words for the chute trip that the step begins, or for the step itself where it is no chute trip."""
    if key.startswith(HEAT_PREFIX):
        things = _PREPARE[Substance.SEMEN]
        return StepWords(HEAT_AI, "ai", _SYMBOLS["ai"], "", things, TANK_CAUTION, None, (key,))
    protocol = protocol_of(protocol_id)
    step = protocol.by_key.get(key) if protocol else None
    if protocol is None or step is None:
        return StepWords(key, "treat", _SYMBOLS["treat"], "", "", "", None, (key,))
    steps = [other for other in protocol.steps if step.trip is not None and other.trip == step.trip] or [step]
    kind = _kind(steps)
    return StepWords(
        label=_label(steps),
        kind=kind,
        symbol=_SYMBOLS[kind],
        doses="; ".join(dict.fromkeys(f"{item.label}: {item.dose}" for item in steps if item.dose)),
        prepare="; ".join(dict.fromkeys(_PREPARE[item.substance] for item in steps if item.substance)),
        caution=_caution(steps),
        trip=step.trip,
        keys=tuple(item.key for item in steps),
    )


def _label(steps: list[Step]) -> str:
    first, *others = (item.label for item in steps)
    return " + ".join([first, *(_inside(label) for label in others)])


def _inside(label: str) -> str:
    """A label in the middle of a phrase: small first letter, but for the names of substances."""
    return label if label.startswith(("GnRH", "PG", "MGA", "AI")) else label[0].lower() + label[1:]


def _kind(steps: list[Step]) -> str:
    if any(item.is_ai for item in steps):
        return "ai"
    if steps[0].action.value == "observe":
        return "watch"
    if steps[0].action.value == "turn_out":
        return "bulls"
    return "feed" if steps[0].substance is Substance.MGA else "treat"


def _caution(steps: list[Step]) -> str:
    substances = {item.substance for item in steps}
    cautions = [PG_CAUTION] if Substance.PG in substances else []
    if Substance.SEMEN in substances:
        cautions.append(TANK_CAUTION)
    return " ".join(cautions)


@cache
def trip_heads(protocol_id: str) -> tuple[str, ...]:
    """The first key of every chute trip, and every step that needs no trip: what a calendar shows once."""
    protocol = protocol_of(protocol_id)
    if protocol is None:
        return ()
    loose = [step.key for step in protocol.steps if step.trip is None]
    return (*(trip[0].key for trip in protocol.trips), *loose)
