"""Season files: strict, with the field named; never anything but a clear refusal."""

import copy
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.plan import load_plan
from scheduling.kernel.reader import ReadError
from scheduling.kernel.season import SeasonError, load_season
from tests.factories.seasons import season_document

PROTOCOLS = load_catalogue().protocols
GOOD = season_document("S", 1)


def test_a_good_file_loads_whole() -> None:
    season = load_season(GOOD, PROTOCOLS)
    assert (len(season.ranches), len(season.groups), len(season.technicians)) == (8, 12, 2)


def test_defaults_are_those_of_the_format() -> None:
    document = copy.deepcopy(GOOD)
    for name in ("barns",):
        document.pop(name)
    for group in document["groups"]:
        for name in ("order", "ai_by", "steps_by", "skills", "needs_barn"):
            group.pop(name)
    season = load_season(document, PROTOCOLS)
    assert season.weights.unplaced == 3000
    assert all(ranch.ai_rate == 20 for ranch in season.ranches.values())
    assert all(group.order.value == "kept" and group.ai_by.value == "technician" for group in season.groups)


FAULTS: list[tuple[str, Any, str]] = [
    ("format", "herdplan-season/9", "format"),
    ("season.zone", "Mars/Base", "season.zone"),
    ("season.first_day", "2027-13-01", "season.first_day"),
    ("season.last_day", "2027-01-01", "season.last_day"),
    ("travel.speed_kmh", 0, "travel.speed_kmh"),
    ("travel.speed_kmh", float("nan"), "travel.speed_kmh"),
    ("ranches.0.lat", 91, "ranches[0].lat"),
    ("ranches.0.lat", True, "ranches[0].lat"),
    ("ranches.0.id", "R1", "ranches[1].id"),
    ("ranches.0.handling_hours", ["20:00", "06:00"], "ranches[0].handling_hours"),
    ("ranches.0.handling_hours", ["06:00"], "ranches[0].handling_hours"),
    ("ranches.0.handling_hours", ["06:00", "25:00"], "ranches[0].handling_hours[1]"),
    ("ranches.0.closed_days", ["soon"], "ranches[0].closed_days[0]"),
    ("ranches.0.treat_rate", -5, "ranches[0].treat_rate"),
    ("ranches.0.colour", "red", "ranches[0].colour"),
    ("groups.0.ranch", "R99", "groups[0].ranch"),
    ("groups.0.head", -3, "groups[0].head"),
    ("groups.0.head", 3.5, "groups[0].head"),
    ("groups.0.animal_class", "bull", "groups[0].animal_class"),
    ("groups.0.protocol", "cow_7d_cosynch_inset", "groups[0].protocol"),
    ("groups.0.ai_to", "2030-01-01", "groups[0].ai_to"),
    ("groups.0.ai_wanted", "2027-04-13", "groups[0].ai_wanted"),
    ("groups.0.order", "random", "groups[0].order"),
    ("groups.0.needs_barn", "yes", "groups[0].needs_barn"),
    ("groups.0.done", [{"step": "moon", "at": "2027-05-03T16:10:00-06:00"}], "groups[0].done[0].step"),
    ("groups.0.done", [{"step": "gnrh1", "at": "2027-05-03T16:10:00"}], "groups[0].done[0].at"),
    ("technicians.0.hours", ["05:00", "05:00"], "technicians[0].hours"),
    ("technicians.0.max_head_per_day", 0, "technicians[0].max_head_per_day"),
    ("weights", {"km": -1}, "weights.km"),
    ("weights", {"miles": 1}, "weights.miles"),
    ("ranches", "none", "ranches"),
]


def changed(path: str, value: Any) -> dict[str, Any]:
    """The good document with one value changed."""
    document = copy.deepcopy(GOOD)
    spot: Any = document
    *parents, last = path.split(".")
    for part in parents:
        spot = spot[int(part)] if part.isdigit() else spot[part]
    spot[last] = value
    return document


@pytest.mark.parametrize(("path", "value", "field"), FAULTS)
def test_a_fault_is_refused_with_its_field(path: str, value: Any, field: str) -> None:
    with pytest.raises(SeasonError) as fault:
        load_season(changed(path, value), PROTOCOLS)
    assert fault.value.field == field
    assert "\n" not in str(fault.value)


def test_a_near_miss_of_a_protocol_is_guessed() -> None:
    with pytest.raises(SeasonError, match="did you mean cow_7d_cosynch_insert"):
        load_season(changed("groups.0.protocol", "cow_7d_cosynch_inset"), PROTOCOLS)


def test_a_protocol_for_another_class_is_refused() -> None:
    document = changed("groups.0.animal_class", "heifer")
    document["groups"][0]["protocol"] = "cow_5d_cosynch_insert"
    with pytest.raises(SeasonError, match="protocol for class heifer"):
        load_season(document, PROTOCOLS)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=12,
)


@given(JSON)
def test_any_json_is_refused_in_words_as_a_season_and_as_a_plan(document: Any) -> None:
    with pytest.raises(ReadError):
        load_season(document, PROTOCOLS)
    with pytest.raises(ReadError):
        load_plan(document)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.data(), JSON)
def test_a_good_file_with_any_value_put_anywhere_loads_or_is_refused_in_words(data: st.DataObject, value: Any) -> None:
    document = copy.deepcopy(GOOD)
    spot: Any = document
    while True:
        keys = list(spot) if isinstance(spot, dict) else list(range(len(spot)))
        key = data.draw(st.sampled_from(keys))
        if isinstance(spot[key], (dict, list)) and spot[key] and data.draw(st.booleans()):
            spot = spot[key]
            continue
        spot[key] = value
        break
    try:
        load_season(document, PROTOCOLS)
    except SeasonError as fault:
        words = str(fault)
    else:
        words = "loaded: fine"
    assert ": " in words
