"""Forms of ranches, cattle and records, with the checks that a person can act on."""

from herdplan.herds.forms.cattle import (
    ClosedDayForm,
    FemaleForm,
    GroupForm,
    HerdForm,
    ImportForm,
    RanchForm,
    date_faults,
)
from herdplan.herds.forms.record_files import MatchForm, RecordFileForm
from herdplan.herds.forms.records import ASKED, ChuteForm, ObservedForm, typed_on

__all__ = [
    "ASKED",
    "ChuteForm",
    "ClosedDayForm",
    "FemaleForm",
    "GroupForm",
    "HerdForm",
    "ImportForm",
    "MatchForm",
    "ObservedForm",
    "RanchForm",
    "RecordFileForm",
    "date_faults",
    "typed_on",
]
