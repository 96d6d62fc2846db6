"""Changes to ranches, cattle and records that are more than saving a form. Keyword arguments only; errors are typed."""

from herdplan.herds.services.cattle import InUse, make_ranch_usable, remove_group, remove_herd, require_edit
from herdplan.herds.services.records import (
    Saved,
    end_hold,
    keep_upload,
    save_at_chute,
    save_observed,
    take_in_upload,
    withdraw_record,
)

__all__ = [
    "InUse",
    "Saved",
    "end_hold",
    "keep_upload",
    "make_ranch_usable",
    "remove_group",
    "remove_herd",
    "require_edit",
    "save_at_chute",
    "save_observed",
    "take_in_upload",
    "withdraw_record",
]
