"""Pages of ranches and their cattle, by family."""

from herdplan.herds.views.females import export, female_edit, female_form, females, import_page
from herdplan.herds.views.groups import group_edit, group_form, group_remove, herd_edit, herd_form, herd_remove
from herdplan.herds.views.ranches import closed_day_add, closed_day_remove, ranch_form, ranch_page, ranches

__all__ = [
    "closed_day_add",
    "closed_day_remove",
    "export",
    "female_edit",
    "female_form",
    "females",
    "group_edit",
    "group_form",
    "group_remove",
    "herd_edit",
    "herd_form",
    "herd_remove",
    "import_page",
    "ranch_form",
    "ranch_page",
    "ranches",
]
