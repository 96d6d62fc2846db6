"""The catalogue: complete, strict, sourced."""

from pathlib import Path

import pytest

from scheduling.kernel.catalogue import CatalogueError, adjusted, load_catalogue, parse_protocol, parse_sources
from scheduling.kernel.protocol import AnimalClass
from scheduling.kernel.reader import ReadError

SOURCES = parse_sources('[X1]\ntitle="T"\npublisher="P"\nyear="2020"\naddress="a"\nseen="all"\n', "sources.toml")
GOOD = """
name = "Three steps"
animal_class = "cow"
category = "FTAI"
family = "short_term_progestin"
status = "trial"
status_from_memory = false
confidence = "source"
day_count = "day 0 = GnRH"
sources = ["X1"]
contraindications = []
notes = []
[[steps]]
key = "gnrh1"
label = "GnRH"
action = "give"
substance = "GnRH"
day = 0
nominal_day = 0
applies_to = "all"
trip = 1
evidence = ["X1"]
from_memory = false
[[steps]]
key = "pg"
label = "PG"
action = "give"
substance = "PGF2a"
day = 7
nominal_day = 7
after = { step = "gnrh1", target_h = 168, stated = false }
applies_to = "all"
trip = 2
evidence = ["X1"]
from_memory = false
"""


def test_all_forty_eight_protocols_load_with_sources_and_an_edition() -> None:
    catalogue = load_catalogue()
    assert len(catalogue.protocols) == 48
    assert catalogue.edition == "2026"
    assert all(protocol.sources and protocol.steps for protocol in catalogue.protocols.values())
    assert all(
        source.title and source.publisher and source.year for p in catalogue.protocols.values() for source in p.sources
    )


def test_no_internal_marks_are_left_in_the_words() -> None:
    for path in (Path(load_catalogue.__wrapped__.__code__.co_filename).parent / "protocols").glob("*.toml"):
        text = path.read_text(encoding="utf-8")
        assert "MEMORY" not in text
        assert "S4" not in "".join(
            line for line in text.splitlines() if line.startswith(("name", "label", "what", "dose"))
        )


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (('name = "Three steps"\n', ""), "name"),
        (('animal_class = "cow"', 'animal_class = "bull"'), "animal_class"),
        (('category = "FTAI"', 'category = "moon"'), "category"),
        (('sources = ["X1"]', "sources = []"), "sources"),
        (('sources = ["X1"]', 'sources = ["X9"]'), "sources"),
        (('evidence = ["X1"]', 'evidence = ["X9"]'), "evidence"),
        (('step = "gnrh1", target_h', 'step = "gnrh9", target_h'), "after.step"),
        (("day = 7", "day = -1"), "day"),
        (("target_h = 168, stated", "target_h = 168, min_h = 170, stated"), "target_h"),
        (("trip = 2", "trip = 1"), "steps.trip"),
        (('substance = "PGF2a"', 'substance = "beer"'), "substance"),
        (('name = "Three steps"', 'name = "Three steps"\ncolour = "red"'), "colour"),
        (('key = "pg"', 'key = "gnrh1"'), "key"),
        (('name = "Three steps"', "name = "), "file"),
    ],
)
def test_a_faulty_file_is_refused_with_file_and_field(change: tuple[str, str], field: str) -> None:
    assert parse_protocol("own", GOOD, SOURCES, "1").id == "own"
    with pytest.raises(CatalogueError) as fault:
        parse_protocol("own", GOOD.replace(*change), SOURCES, "1")
    assert fault.value.file == "own.toml"
    assert field in fault.value.field


def test_classes() -> None:
    protocols = load_catalogue().protocols
    assert protocols["cow_7d_cosynch_insert"].fits(AnimalClass.COW)
    assert not protocols["cow_7d_cosynch_insert"].fits(AnimalClass.HEIFER)
    assert not protocols["heifer_mga_pg_ftai"].fits(AnimalClass.COW)
    assert not protocols["bi_cow_pg_5d_cosynch_insert"].fits(AnimalClass.COW)
    assert protocols["cow_7d_cosynch_insert"].fits(AnimalClass.BOS_INDICUS_COW)
    assert protocols["label_insert_pg_d6"].fits(AnimalClass.HEIFER)


def test_a_window_can_be_adjusted_with_a_reason_and_not_without() -> None:
    protocol = load_catalogue().protocols["cow_7d_cosynch_insert"]
    changed = adjusted(protocol, step="ai", min_h=62, target_h=64, max_h=66, reason="Our veterinarian advised later AI")
    rule, before = changed.by_key["ai"].after, protocol.by_key["ai"].after
    assert rule is not None
    assert before is not None
    assert (rule.window, before.window) == ((62, 66), (60, 66))
    assert len(changed.adjustments) == 1
    with pytest.raises(ReadError, match="reason"):
        adjusted(protocol, step="ai", min_h=62, target_h=64, max_h=66, reason=" ")
    with pytest.raises(ReadError, match="target_h"):
        adjusted(protocol, step="ai", min_h=66, target_h=64, max_h=62, reason="Turned round by mistake")
    with pytest.raises(ReadError, match="step"):
        adjusted(protocol, step="gnrh1", min_h=1, target_h=2, max_h=3, reason="It has no hour rule")


def test_a_mga_protocol_feeds_fourteen_days_and_gives_pg_nineteen_days_after_the_last() -> None:
    """Feeding on days 1 to 14, PG on day 33: "Estrus synchronization program for heifers", a farm-supply co-op, undated."""
    steps = load_catalogue().protocols["heifer_mga_pg_ftai"].by_key
    assert steps["mga_last"].day - steps["mga_start"].day + 1 == 14
    assert steps["pg"].day - steps["mga_last"].day == 19
    # Label: at most 24 days of feeding ("21 CFR 558.342 Melengestrol", US Code of Federal Regulations, undated copy).
    assert all(
        p.by_key["mga_last"].day - p.by_key["mga_start"].day + 1 <= 24
        for p in load_catalogue().protocols.values()
        if "mga_last" in p.by_key
    )
