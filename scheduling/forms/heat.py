"""Forms of the pages of heat: a weather file, monthly normals, a planned move."""

from collections.abc import Iterator
from typing import Any

from django import forms

from accounts.units import Units, figure
from accounts.widgets import DayInput, TimeInput
from scheduling.models import MonthWeather

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_PARTS = ("low", "high", "morning", "afternoon")


class WeatherFileForm(forms.Form):
    """An hourly forecast or a station's file."""

    file = forms.FileField(
        label="CSV file with a row for each hour",
        help_text="It needs columns for time, temperature and humidity. At most 2 MB and 20,000 hours.",
    )
    unit = forms.ChoiceField(
        label="Temperatures in the file are in",
        choices=[("F", "Fahrenheit (°F)"), ("C", "Celsius (°C)")],
        help_text="Counts only where the column's name does not say it.",
    )
    time_column = forms.CharField(
        label="Name of the time column",
        required=False,
        max_length=80,
        help_text="Only if the columns are not found by themselves: type all three names as they stand in the file.",
    )
    temperature_column = forms.CharField(label="Name of the temperature column", required=False, max_length=80)
    humidity_column = forms.CharField(label="Name of the humidity column", required=False, max_length=80)

    def clean(self) -> dict[str, Any]:
        """All three names or none."""
        values = super().clean() or {}
        names = [values.get(f"{part}_column", "") for part in ("time", "temperature", "humidity")]
        if any(names) and not all(names):
            self.add_error("time_column", "Type the names of all three columns, or none of them.")
        return values

    @property
    def columns(self) -> tuple[str, str, str] | None:
        """The names that were typed."""
        values = self.cleaned_data
        if not values["time_column"]:
            return None
        return values["time_column"], values["temperature_column"], values["humidity_column"]


class NormalsForm(forms.Form):
    """Monthly normals in the person's unit of temperature: four figures a month, or none of them."""

    def __init__(self, data: Any, *, units: Units, rows: list[MonthWeather]) -> None:
        self.units = units
        super().__init__(data, initial=dict(self._typed(rows)))
        low, high = (-76, 140) if units.temperature == "F" else (-60, 60)
        words = {
            "low": f"Lowest of a usual day, °{units.temperature}",
            "high": f"Highest of a usual day, °{units.temperature}",
            "morning": "Humidity in the early morning, %",
            "afternoon": "Humidity in the afternoon, %",
        }
        for month in range(1, 13):
            for part in _PARTS:
                ends = (low, high) if part in ("low", "high") else (1, 100)
                self.fields[f"{part}_{month}"] = forms.FloatField(
                    label=words[part], required=False, min_value=ends[0], max_value=ends[1]
                )

    def _typed(self, rows: list[MonthWeather]) -> Iterator[tuple[str, str]]:
        for row in rows:
            yield f"low_{row.month}", figure(self.units.from_celsius(row.low_c), 1)
            yield f"high_{row.month}", figure(self.units.from_celsius(row.high_c), 1)
            yield f"morning_{row.month}", figure(row.morning_humidity, 1)
            yield f"afternoon_{row.month}", figure(row.afternoon_humidity, 1)

    def by_month(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields of each month."""
        return [(MONTHS[i - 1], [self[f"{part}_{i}"] for part in _PARTS]) for i in range(1, 13)]

    def clean(self) -> dict[str, Any]:
        """Four figures or none, the lowest not above the highest."""
        values = super().clean() or {}
        for month in range(1, 13):
            four = {part: values.get(f"{part}_{month}") for part in _PARTS}
            given = [part for part, value in four.items() if value is not None]
            missing = [part for part in _PARTS if part not in given and f"{part}_{month}" not in self.errors]
            if given and missing:
                self.add_error(f"{missing[0]}_{month}", f"Fill all four figures of {MONTHS[month - 1]}, or none.")
            low, high = four["low"], four["high"]
            if low is not None and high is not None and low > high:
                self.add_error(f"low_{month}", "The lowest is above the highest; check both.")
        return values

    @property
    def months(self) -> dict[int, tuple[float, float, float, float]]:
        """What was typed, in °C and per cent, by month."""
        found = {}
        for month in range(1, 13):
            low, high, morning, afternoon = (self.cleaned_data[f"{part}_{month}"] for part in _PARTS)
            if low is not None:
                found[month] = (self.units.to_celsius(low), self.units.to_celsius(high), morning, afternoon)
        return found


class HaulForm(forms.Form):
    """A move that somebody thinks of: the day, and the hours on the road."""

    move_day = forms.DateField(label="Haul or move on", widget=DayInput())
    move_from = forms.TimeField(label="from", widget=TimeInput(), initial="06:00")
    move_to = forms.TimeField(label="to", widget=TimeInput(), initial="12:00")

    def clean(self) -> dict[str, Any]:
        """An end after the beginning."""
        values = super().clean() or {}
        begin, end = values.get("move_from"), values.get("move_to")
        if begin and end and end <= begin:
            self.add_error("move_to", "Choose an hour after the beginning, on the same day.")
        return values
