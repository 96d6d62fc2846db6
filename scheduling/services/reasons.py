"""The reason behind a rule, for pages that open it where it stands."""

from scheduling.kernel.advice.whys import THEMES, WHYS, Why
from scheduling.kernel.protocol import AnimalClass, Protocol, Substance


def reason_of(code: str) -> Why | None:
    """A rule's why by its code."""
    return WHYS.get(code)


def reasons_by_theme() -> list[tuple[str, tuple[Why, ...]]]:
    """Every why under what it is about."""
    return list(THEMES.items())


def title_inside(why: Why) -> str:
    """A why's title in the middle of a phrase: small first letter, but for names such as PG."""
    title = why.title
    return title if title.split()[0].isupper() and len(title.split()[0]) > 1 else title[0].lower() + title[1:]


def codes_of(protocol: Protocol) -> list[str]:
    """The rules that a protocol's steps call for: labels, pregnancy before PG, heat, lots, safety."""
    given = {step.substance for step in protocol.steps}
    cows = protocol.animal_class != AnimalClass.HEIFER
    called = {
        "unknown_pregnancy": Substance.PG in given,
        "safety": Substance.PG in given or Substance.SEMEN in given,
        "insert_label": Substance.INSERT in given,
        "days_insert": Substance.INSERT in given and cows,
        "mga_label": Substance.MGA in given,
        "heat_detection": bool(protocol.heat_watches),
        "lots": any(step.trip is not None for step in protocol.ai_steps),
        "bull_ratio": any(step.action.value == "turn_out" for step in protocol.steps),
    }
    return [code for code, wanted in called.items() if wanted]
