"""The checker's sentences for people: names in place of ids, steps by their words, days with their weekday."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from herdplan.technicians.models import Barn
from scheduling.kernel.asked import day_words
from scheduling.kernel.lot_words import fill_lot_words
from scheduling.kernel.plan import Plan
from scheduling.models import Season
from scheduling.services.catalogue import protocol_of

_ID = r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}"
_STEP = re.compile(rf"\b(?:Step )?([a-z]\w*) of group ({_ID})")
_HOURS = re.compile(rf"({_ID})(, lot \d+, get) (\w+) ([\d.]+ to [\d.]+ h after) (\w+);")
_LOT = re.compile(rf"({_ID}), lot (\d+),")
_GROUP = re.compile(rf"\b[Gg]roup ({_ID})")
_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


@dataclass(frozen=True)
class Wording:
    """Names of groups, ranches, technicians and barns by id, the groups' programmes, and into how many lots they are cut."""

    names: Mapping[str, str]
    protocols: Mapping[str, str]
    lots: Mapping[str, int]

    def say(self, text: str) -> str:
        """The sentence without an id in it."""
        text = _HOURS.sub(
            lambda m: f"{m[1]}{m[2]} {self._step(m[1], m[3])} {m[4]} {self._step(m[1], m[5])};",
            text,
        )
        text = _LOT.sub(lambda m: self._lot(m[1], int(m[2])), text)
        text = _STEP.sub(lambda m: f"{self._step(m[2], m[1])} of group {m[2]}", text)
        text = _GROUP.sub(lambda m: self.names.get(m[1], "the group"), text)
        text = re.sub(_ID, lambda m: self.names.get(m[0], m[0]), text)
        text = _DAY.sub(lambda m: day_words(date.fromisoformat(m[0])), text)
        return text[:1].upper() + text[1:]

    def _lot(self, group: str, number: int) -> str:
        words = fill_lot_words(number, self.lots.get(group, 1))
        return f"{group}, {words}," if words else group

    def _step(self, group: str, key: str) -> str:
        protocol = protocol_of(self.protocols.get(group, ""))
        step = protocol.by_key.get(key) if protocol else None
        return step.label if step else key


def wording_of(season: Season, problem: Mapping[str, Any], plan: Plan) -> Wording:
    """The words for a season's document and a plan of it. Two queries."""
    names = {str(row.pk): str(row.group) for row in season.entries.select_related("group__herd__ranch")}
    names |= {
        str(key): name for key, name in Barn.objects.filter(cooperative=season.cooperative_id).values_list("pk", "name")
    }
    for table in ("ranches", "technicians"):
        names |= {row["id"]: row["name"] for row in problem[table]}
    protocols = {row["id"]: row["protocol"] for row in problem["groups"]}
    return Wording(names, protocols, {group.id: len(group.lots) for group in plan.groups})
