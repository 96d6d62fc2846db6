"""Forms of a sheet of records: the file, and which of its columns is what."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from accounts.widgets import DayInput
from herdplan.herds.record_sheets import FIELDS, match_faults
from herdplan.herds.typed import DAY_ORDERS


class RecordFileForm(forms.Form):
    """A spreadsheet of records."""

    file = forms.FileField(
        label="CSV or XLSX file", help_text="First row: column names, any names. At most 5 MB and 20,000 rows."
    )


class MatchForm(forms.Form):
    """Which column is what; how its days are written; the day of rows without one."""

    def __init__(self, *args: Any, table: list[list[str]], guesses: Sequence[str], today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today, self.width = today, len(table[0])
        for i, title in enumerate(table[0]):
            seen = ", ".join([row[i] for row in table[1:] if row[i]][:3])
            self.fields[f"column_{i}"] = forms.ChoiceField(
                label=title or f"Column {i + 1}",
                choices=[("", "leave it out"), *FIELDS.items()],
                required=False,
                initial=guesses[i],
                help_text=f"Holds: {seen[:80]}" if seen else "This column is empty.",
            )
        self.fields["order"] = forms.ChoiceField(
            label="How days are written", choices=list(DAY_ORDERS.items()), initial="ymd"
        )
        self.fields["day"] = forms.DateField(
            label="Day of rows without one", widget=DayInput(), required=False, help_text="The day the cattle were worked."
        )  # fmt: skip

    @property
    def matches(self) -> tuple[str, ...]:
        """Per column the chosen field."""
        return tuple(self.cleaned_data.get(f"column_{i}", "") for i in range(self.width))

    def clean(self) -> dict[str, Any]:
        """A tag, something to save, nothing twice."""
        values = super().clean() or {}
        fault = match_faults(self.matches)
        if fault:
            self.add_error(None, fault)
        return values
