"""Form widgets that every app uses: the phone's own pickers."""

from django import forms


class DayInput(forms.DateInput):
    """The phone's own day picker."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class TimeInput(forms.TimeInput):
    """The phone's own time picker."""

    input_type = "time"

    def __init__(self) -> None:
        super().__init__(format="%H:%M")
