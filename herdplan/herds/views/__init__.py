"""Pages of ranches and their cattle, by family."""

from herdplan.herds.views.chute import chute, chute_animal, chute_edit, chute_start
from herdplan.herds.views.females import export, female_edit, female_form, females, import_page
from herdplan.herds.views.groups import group_edit, group_form, group_remove, herd_edit, herd_form, herd_remove
from herdplan.herds.views.ranches import closed_day_add, closed_day_remove, ranch_form, ranch_page, ranches
from herdplan.herds.views.records import (
    female_page,
    hold_end,
    record_new,
    record_remove,
    records_csv,
    records_import,
    records_match,
    records_xlsx,
)

__all__ = [
    "chute",
    "chute_animal",
    "chute_edit",
    "chute_start",
    "closed_day_add",
    "closed_day_remove",
    "export",
    "female_edit",
    "female_form",
    "female_page",
    "females",
    "group_edit",
    "group_form",
    "group_remove",
    "herd_edit",
    "herd_form",
    "herd_remove",
    "hold_end",
    "import_page",
    "ranch_form",
    "ranch_page",
    "ranches",
    "record_new",
    "record_remove",
    "records_csv",
    "records_import",
    "records_match",
    "records_xlsx",
]
