"""One why: a rule in plain words with its sources."""

from dataclasses import dataclass

from scheduling.kernel.advice.figures import Cited


@dataclass(frozen=True, slots=True)
class Why:
    """A rule in plain words. `disagree` says where sources differ, for rules whose figure is a setting."""

    code: str
    title: str
    text: str
    ignored: str
    sources: tuple[Cited, ...]
    disagree: str = ""
