"""Season files by chance: a refusal that names the field, or a plan that the checker passes; never a traceback, never a hang.

`HERDPLAN_FUZZ=5000 pytest tests/scheduling/kernel/test_fuzz.py` tries as many new examples of each kind.
"""

import json
import os
import time
from typing import Any

from hypothesis import HealthCheck, given, settings

from scheduling.kernel.checker import check
from scheduling.kernel.plan import Plan, load_plan, plan_bytes, to_document
from scheduling.kernel.reader import ReadError
from scheduling.kernel.search import Budget, solve
from scheduling.kernel.season import load_season
from tests.factories.wild import PROTOCOLS, broken_seasons, wild_seasons

_MORE = int(os.environ.get("HERDPLAN_FUZZ", "0"))
# Seconds of computing (not of waiting for a busy machine) that two rounds on five groups may take before we call it a hang.
_HANG_S = 20.0


def tries(count: int) -> settings:
    """The same examples every time, or many new ones where asked for."""
    return settings(
        max_examples=_MORE or count,
        derandomize=not _MORE,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )


def planned(document: dict[str, Any], keep: Plan | None = None) -> Plan:
    """A plan of a document that the reader takes: no rule broken, every group accounted for, written and read again."""
    season = load_season(document, PROTOCOLS)
    begun = time.process_time()
    plan = solve(season, seed=1, budget=Budget(rounds=2), keep=keep)
    assert time.process_time() - begun < _HANG_S
    assert [item.text for item in check(season, plan).broken] == []
    assert len(plan.groups) + len(plan.unplaced) == len(season.groups)
    assert all(item.causes and all(cause.text for cause in item.causes) for item in plan.unplaced)
    assert to_document(load_plan(json.loads(plan_bytes(plan)))) == to_document(plan)
    return plan


def refusal(document: dict[str, Any]) -> ReadError | None:
    """What the reader has against a document."""
    try:
        load_season(document, PROTOCOLS)
    except ReadError as fault:
        return fault
    return None


@tries(150)
@given(wild_seasons())
def test_a_wild_season_gives_a_plan_that_breaks_nothing(document: dict[str, Any]) -> None:
    planned(document)


@tries(250)
@given(broken_seasons())
def test_a_spoilt_season_is_refused_by_field_or_planned(document: dict[str, Any]) -> None:
    refused = refusal(document)
    if refused is None:
        planned(document)
    else:
        assert refused.field
        assert refused.allowed


@tries(50)
@given(wild_seasons(), wild_seasons())
def test_a_plan_of_quite_another_season_may_be_kept(document: dict[str, Any], other: dict[str, Any]) -> None:
    """The same ids with other ranches, protocols, days and zones: whatever still holds is kept, the rest is planned anew."""
    planned(document, keep=planned(other))
