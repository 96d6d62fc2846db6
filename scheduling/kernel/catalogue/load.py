"""Reading the catalogue's files. A file with a missing field, a wrong class or no source is refused by file and field."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from scheduling.kernel.protocol import (
    Action,
    AnimalClass,
    Category,
    HeatWatch,
    HourRule,
    Protocol,
    Source,
    Step,
    Substance,
    Variant,
)
from scheduling.kernel.reader import Reader, ReadError

FOLDER = Path(__file__).resolve().parent
_CLASSES = (*(member.value for member in AnimalClass), "heifer_or_cow")
_CONFIDENCE = ("source", "mixed", "memory")


class CatalogueError(ValueError):
    """A catalogue file that cannot be used: `file`, `field` and what is allowed."""

    def __init__(self, file: str, field: str, allowed: str) -> None:
        super().__init__(f"{file}: {field}: {allowed}")
        self.file = file
        self.field = field


@dataclass(frozen=True)
class Catalogue:
    """The protocols of one edition by id."""

    edition: str
    protocols: Mapping[str, Protocol]


@cache
def load_catalogue(folder: Path = FOLDER) -> Catalogue:
    """The catalogue in a folder (the one that comes with the program, or a co-op's own edition in the same form)."""
    edition = _toml(folder / "edition.toml").get("edition")
    if not isinstance(edition, str) or not edition:
        raise CatalogueError("edition.toml", "edition", 'a text such as "2026"')
    sources = parse_sources((folder / "sources.toml").read_text(encoding="utf-8"), "sources.toml")
    protocols = {}
    for path in sorted((folder / "protocols").glob("*.toml")):
        protocols[path.stem] = parse_protocol(path.stem, path.read_text(encoding="utf-8"), sources, edition)
    return Catalogue(edition, protocols)


def parse_sources(text: str, file: str) -> dict[str, Source]:
    """The sources file: title, publisher, year, address and how much was seen, by id."""
    sources = {}
    for key, value in _parsed(text, file).items():
        try:
            row = Reader(value, key)
            sources[key] = Source(
                key, *(_prose(row, name, 600) for name in ("title", "publisher", "year", "address", "seen"))
            )
            row.done()
        except ReadError as fault:
            raise CatalogueError(file, fault.field, fault.allowed) from None
    return sources


def parse_protocol(identity: str, text: str, sources: Mapping[str, Source], edition: str) -> Protocol:
    """One protocol file. `identity` is its id, which is also the file's name."""
    file = f"{identity}.toml"
    values = _parsed(text, file)
    try:
        protocol = _protocol(identity, Reader(values, ""), sources, edition)
    except ReadError as fault:
        raise CatalogueError(file, fault.field, fault.allowed) from None
    _check_steps(protocol, file)
    return protocol


def _toml(path: Path) -> dict[str, object]:
    if not path.is_file():
        raise CatalogueError(path.name, "file", "this file must be there")
    return _parsed(path.read_text(encoding="utf-8"), path.name)


def _parsed(text: str, file: str) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise CatalogueError(file, "file", f"TOML; {fault}") from None


def _protocol(identity: str, row: Reader, sources: Mapping[str, Source], edition: str) -> Protocol:
    cited = _texts(row, "sources")
    if not cited:
        raise ReadError("sources", "at least one source; no protocol stands without one")
    protocol = Protocol(
        id=identity,
        name=row.text("name"),
        animal_class=_one_of(row, "animal_class", _CLASSES),
        category=row.choice("category", Category),
        family=row.text("family"),
        status=row.text("status"),
        status_from_memory=row.yes_no("status_from_memory"),
        confidence=_one_of(row, "confidence", _CONFIDENCE),
        day_count=row.text("day_count"),
        steps=tuple(_step(item, sources) for item in _tables(row, "steps")),
        heat_watches=tuple(_heat_watch(item, sources) for item in _tables(row, "heat_watches")),
        contraindications=_texts(row, "contraindications"),
        notes=_texts(row, "notes"),
        variants=tuple(_variant(item, sources) for item in _tables(row, "variants")),
        sources=tuple(_source(row, "sources", key, sources) for key in cited),
        edition=edition,
    )
    row.done()
    return protocol


def _step(row: Reader, sources: Mapping[str, Source]) -> Step:
    step = Step(
        key=row.text("key"),
        label=row.text("label"),
        action=row.choice("action", Action),
        substance=row.choice("substance", Substance) if row.has("substance") else None,
        dose=row.text("dose") if row.has("dose") else None,
        day=row.whole("day", 0, 100),
        printed_day=row.text("printed_day") if row.has("printed_day") else None,
        nominal_day=row.number("nominal_day", 0, 100),
        after=_hour_rule(Reader(row.take("after"), row.at("after"))) if row.has("after") else None,
        applies_to=row.text("applies_to"),
        trip=row.whole("trip", 1, 20) if row.has("trip") else None,
        evidence=_evidence(row, sources),
        from_memory=row.yes_no("from_memory"),
        note=row.text("note") if row.has("note") else None,
    )
    row.done()
    return step


def _hour_rule(row: Reader) -> HourRule:
    rule = HourRule(
        step=row.text("step"),
        target_h=row.number("target_h", 0, 2_000),
        min_h=row.number("min_h", 0, 2_000) if row.has("min_h") else None,
        max_h=row.number("max_h", 0, 2_000) if row.has("max_h") else None,
        stated=row.yes_no("stated"),
    )
    low, high = rule.window
    if not low <= rule.target_h <= high:
        raise ReadError(row.at("target_h"), "not below min_h and not above max_h")
    row.done()
    return rule


def _heat_watch(row: Reader, sources: Mapping[str, Source]) -> HeatWatch:
    watch = HeatWatch(
        anchor=row.text("anchor"),
        start_h=row.number("start_h", -100, 500),
        end_h=row.number("end_h", 0, 500),
        ai_after_onset_h=row.number("ai_after_onset_h", 0, 48),
        rule=row.text("rule"),
        applies_to=row.text("applies_to"),
        evidence=_evidence(row, sources),
        from_memory=row.yes_no("from_memory"),
        note=row.text("note") if row.has("note") else None,
    )
    if watch.start_h >= watch.end_h:
        raise ReadError(row.at("end_h"), "after start_h")
    row.done()
    return watch


def _variant(row: Reader, sources: Mapping[str, Source]) -> Variant:
    source = row.text("source") if row.has("source") else None
    if source is not None:
        _source(row, "source", source, sources)
    variant = Variant(row.text("what"), source, row.text("year") if row.has("year") else None)
    row.done()
    return variant


def _evidence(row: Reader, sources: Mapping[str, Source]) -> tuple[str, ...]:
    keys = _texts(row, "evidence")
    for key in keys:
        _source(row, "evidence", key, sources)
    return keys


def _source(row: Reader, name: str, key: str, sources: Mapping[str, Source]) -> Source:
    if key not in sources:
        raise ReadError(row.at(name), f"ids of the sources file; there is no {key}")
    return sources[key]


def _tables(row: Reader, name: str) -> list[Reader]:
    if not row.has(name):
        return []
    return [Reader(item, f"{row.at(name)}[{i}]") for i, item in enumerate(row.items(name, 100))]


def _texts(row: Reader, name: str) -> tuple[str, ...]:
    items = row.items(name, 100)
    if not all(isinstance(item, str) and item for item in items):
        raise ReadError(row.at(name), "a list of texts")
    return tuple(str(item) for item in items)


def _prose(row: Reader, name: str, most: int) -> str:
    value = row.take(name)
    if not isinstance(value, str) or not 1 <= len(value) <= most:
        raise ReadError(row.at(name), f"a text of 1 to {most} characters")
    return value


def _one_of(row: Reader, name: str, allowed: tuple[str, ...]) -> str:
    value = row.text(name)
    if value not in allowed:
        raise ReadError(row.at(name), "one of " + ", ".join(allowed))
    return value


def _check_steps(protocol: Protocol, file: str) -> None:
    """References between steps: anchors exist and come first, days do not run backwards, a trip is one day."""
    if not protocol.steps:
        raise CatalogueError(file, "steps", "at least one step")
    seen: dict[str, Step] = {}
    for i, step in enumerate(protocol.steps):
        field = f"steps[{i}]"
        if step.key in seen:
            raise CatalogueError(file, f"{field}.key", f"each key once; {step.key} stands there twice")
        if step.after is not None and step.after.step not in seen:
            raise CatalogueError(file, f"{field}.after.step", f"the key of an earlier step, not {step.after.step}")
        if seen and step.day < max(other.day for other in seen.values()):
            raise CatalogueError(file, f"{field}.day", "not before the day of the step above")
        if step.action in (Action.GIVE, Action.INSEMINATE) and step.substance is None:
            raise CatalogueError(file, f"{field}.substance", "one of " + ", ".join(item.value for item in Substance))
        seen[step.key] = step
    for trip in protocol.trips:
        if len({step.day for step in trip}) != 1:
            raise CatalogueError(file, "steps.trip", f"one day for the steps of trip {trip[0].trip}")
    for i, watch in enumerate(protocol.heat_watches):
        if watch.anchor not in seen:
            raise CatalogueError(file, f"heat_watches[{i}].anchor", f"the key of a step, not {watch.anchor}")
