"""Forms of records: what is typed today, and one animal at the chute or on her page."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.forms.boundfield import BoundField

from accounts.units import Units, figure
from accounts.widgets import DayInput
from herdplan.herds.models import BreedingGroup, ChuteDay, Herd, Record
from herdplan.herds.plausible import Observed, Verdict, judge
from herdplan.herds.queries import History
from herdplan.herds.record_sheets import record_text
from herdplan.herds.typed import TypingFault, read_days_pregnant, read_length, read_weight

_KIND = Record.Kind
ASKED = {
    _KIND.WEIGHT: ("weight",),
    _KIND.TRACT: ("tract",),
    _KIND.PELVIS: ("pelvic_height", "pelvic_width"),
    _KIND.CONDITION: ("condition", "condition_half"),
    _KIND.CALVING: ("calved",),
    _KIND.VACCINATION: ("vaccines",),
    _KIND.PREGNANCY: ("pregnancy", "days_pregnant", "months_pregnant"),
    _KIND.HOLD: ("hold_reason", "hold_until"),
}
_ASKED_WORDS = {
    _KIND.WEIGHT: "Weight",
    _KIND.TRACT: "Tract score (1 to 5)",
    _KIND.PELVIS: "Pelvic height and width",
    _KIND.CONDITION: "Body condition (1 to 9)",
    _KIND.CALVING: "Day she calved",
    _KIND.VACCINATION: "Vaccination",
    _KIND.PREGNANCY: "Pregnant or open, and how far along",
    _KIND.HOLD: "Health hold",
}
_KEEP = "keep_"


class ChuteForm(forms.ModelForm[ChuteDay]):
    """Which animals, which day, and what is typed of each."""

    asked = forms.MultipleChoiceField(
        label="Typed today",
        choices=[(kind.value, words) for kind, words in _ASKED_WORDS.items()],
        widget=forms.CheckboxSelectMultiple,
        help_text="Only these are on the screen of each animal.",
        error_messages={"required": "Choose at least one."},
    )
    vaccines = forms.MultipleChoiceField(
        label="Vaccines given today",
        choices=Record.Vaccine.choices,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="Ticked for every animal; untick for one that did not get it. Follow the label and your veterinarian.",
    )

    class Meta:
        model = ChuteDay
        fields = ("group", "day", "asked", "vaccines")
        widgets = {"day": DayInput()}

    def __init__(self, *args: Any, herd: Herd, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        field = self.fields["group"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = BreedingGroup.objects.filter(herd=herd)
        field.empty_label = f"All of {herd.name}"

    def clean_day(self) -> date:
        """A day that has come."""
        day: date = self.cleaned_data["day"]
        if day > self.today:
            raise forms.ValidationError(f"This day lies in the future; today, {self.today:%a %d %b %Y}, or earlier.")
        return day

    def clean(self) -> dict[str, Any]:
        """Vaccination needs to know which; vaccines mean vaccination."""
        values = super().clean() or {}
        if _KIND.VACCINATION in values.get("asked", []) and not values.get("vaccines"):
            self.add_error("vaccines", "Choose what is given today, or take Vaccination off the list above.")
        elif values.get("vaccines") and "asked" in values and _KIND.VACCINATION not in values["asked"]:
            values["asked"] = [*values["asked"], _KIND.VACCINATION.value]
        return values


class FigureField(forms.CharField):
    """A figure typed with the phone's number keys, with a unit behind it or the person's own; empty is None."""

    def __init__(self, *, reader: Any, units: Units, **kwargs: Any) -> None:
        self.reader, self.units = reader, units
        keys = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "class": "figure"})
        super().__init__(required=False, widget=keys, max_length=30, **kwargs)

    def clean(self, value: Any) -> Any:
        """The figure in kg or cm."""
        text = super().clean(value)
        try:
            return self.reader(text, self.units) if text else None
        except TypingFault as fault:
            raise forms.ValidationError(f"Type {fault}") from None


@dataclass(frozen=True)
class Asked:
    """A field with its question: `token` is what a tick to keep says, empty where nothing is questioned."""

    bound: BoundField
    token: str
    kept: bool
    last: str

    @property
    def keep_name(self) -> str:
        """The name of the tick."""
        return f"{_KEEP}{self.bound.name}"


def _keys(scores: Iterable[int]) -> list[tuple[str, str]]:
    return [(str(score), str(score)) for score in scores]


class ObservedForm(forms.Form):
    """What is seen of one female. After `is_valid`, `seen` holds it in kg and cm.

    A question stays an error until its tick says the very text that was questioned, so that a figure changed after the tick
    is judged afresh.
    """

    day = forms.DateField(label="Day", widget=DayInput())
    weight = forms.CharField()
    tract = forms.TypedChoiceField(
        label="Tract score", choices=_keys(range(1, 6)), widget=forms.RadioSelect, coerce=int,
        empty_value=None, required=False,
    )  # fmt: skip
    pelvic_height = forms.CharField()
    pelvic_width = forms.CharField()
    condition = forms.TypedChoiceField(
        label="Body condition", choices=_keys(range(1, 10)), widget=forms.RadioSelect, coerce=int,
        empty_value=None, required=False,
    )  # fmt: skip
    condition_half = forms.BooleanField(label="and a half", required=False)
    calved = forms.DateField(label="Day she calved", widget=DayInput(), required=False)
    vaccines = forms.MultipleChoiceField(
        label="Vaccines given", choices=Record.Vaccine.choices, widget=forms.CheckboxSelectMultiple, required=False
    )
    pregnancy = forms.ChoiceField(
        label="Pregnancy check", choices=Record.Pregnancy.choices, widget=forms.RadioSelect, required=False
    )
    days_pregnant = forms.CharField()
    months_pregnant = forms.CharField()
    hold_reason = forms.CharField(label="Health hold: why", max_length=200, required=False)
    hold_until = forms.DateField(
        label="Last day of the hold", widget=DayInput(), required=False, help_text="Empty where it is not known yet."
    )

    def __init__(
        self,
        *args: Any,
        history: History,
        units: Units,
        today: date,
        asked: Sequence[str] = tuple(ASKED),
        vaccines: Sequence[str] = (),
        day: date | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.history, self.units, self.today, self.fixed_day = history, units, today, day
        self.verdict, self.seen = Verdict(), Observed(day or today)
        self._measures()
        wanted = {name for kind, names in ASKED.items() if kind in asked for name in names}
        if day is None:
            wanted.add("day")
            self.fields["day"].initial = today
        self.fields = {name: field for name, field in self.fields.items() if name in wanted}
        if vaccines and "vaccines" in self.fields:
            field = self.fields["vaccines"]
            assert isinstance(field, forms.MultipleChoiceField)
            field.choices = [(vaccine.value, vaccine.label) for vaccine in Record.Vaccine if vaccine.value in vaccines]

    def _measures(self) -> None:
        units = self.units
        self.fields["weight"] = FigureField(label=f"Weight, {units.weight}", reader=read_weight, units=units)
        for name, word in (("pelvic_height", "Pelvic height"), ("pelvic_width", "Pelvic width")):
            self.fields[name] = FigureField(label=f"{word}, {units.length}", reader=read_length, units=units)
        self.fields["days_pregnant"] = FigureField(
            label="Days pregnant", reader=lambda text, _: read_days_pregnant(text), units=units,
            help_text="If the check told. Her calving is expected from it.",
        )  # fmt: skip
        self.fields["months_pregnant"] = FigureField(
            label="or months pregnant", reader=lambda text, _: read_days_pregnant(f"{text} months"), units=units
        )

    def clean(self) -> dict[str, Any]:
        """Judge what was typed; refuse, question, or let pass."""
        values = super().clean() or {}
        self.seen = self._observed(values)
        self.verdict = judge(self.seen, self.history, self.units, self.today)
        self._told_in_months(values)
        for name, text in self.verdict.faults.items():
            self._say(name, text)
        for name, text in self.verdict.questions.items():
            if not self._kept(name):
                self._say(name, f"{text} Is this right? Tick to keep it.")
        if values.get("condition_half") and values.get("condition") is None and "condition" not in self.errors:
            self.add_error("condition", "Choose the whole score too.")
        if self.seen.empty and not self.errors:
            self.add_error(None, "Nothing is typed. Type something, or skip her.")
        return values

    def _told_in_months(self, values: dict[str, Any]) -> None:
        """What is said of the days stands at the field that was typed in."""
        days, months = values.get("days_pregnant"), values.get("months_pregnant")
        if days is not None and months is not None:
            self.add_error("months_pregnant", "Type days or months, not both.")
        elif months is not None:
            for texts in (self.verdict.faults, self.verdict.questions):
                if "days_pregnant" in texts:
                    texts["months_pregnant"] = texts.pop("days_pregnant")

    def _say(self, name: str, text: str) -> None:
        if name not in self.errors:
            self.add_error(name if name in self.fields else None, text)

    def _observed(self, values: dict[str, Any]) -> Observed:
        score = values.get("condition")
        return Observed(
            day=self.fixed_day or values.get("day") or self.today,
            weight=values.get("weight"),
            tract=values.get("tract"),
            pelvic_height=values.get("pelvic_height"),
            pelvic_width=values.get("pelvic_width"),
            condition=None if score is None else score + (0.5 if values.get("condition_half") else 0),
            calved=values.get("calved"),
            vaccines=tuple(values.get("vaccines", ())),
            pregnancy=values.get("pregnancy", ""),
            days_pregnant=values.get("months_pregnant")
            if values.get("days_pregnant") is None
            else values.get("days_pregnant"),
            hold_reason=values.get("hold_reason", ""),
            hold_until=values.get("hold_until"),
        )

    def _token(self, name: str) -> str:
        half = self.data.get("condition_half", "") if name == "condition" else ""
        return f"{self.data.get(name, '')}{half}"

    def _kept(self, name: str) -> bool:
        return bool(self._token(name)) and self.data.get(f"{_KEEP}{name}") == self._token(name)

    def rows(self) -> Iterator[Asked]:
        """Fields in order with their questions and what was seen last."""
        for bound in self:
            if bound.name == "condition_half":
                continue
            asked = self.is_bound and bound.name in self.verdict.questions
            token = self._token(bound.name) if asked else ""
            yield Asked(bound, token, asked and self._kept(bound.name), self._last(bound.name))

    @property
    def half(self) -> BoundField:
        """The tick for half a score."""
        return self["condition_half"]

    def _last(self, name: str) -> str:
        kind = next((kind for kind, names in ASKED.items() if names[0] == name), None)
        rows = [row for row in self.history.of(kind) if row.day != self.fixed_day] if kind else []
        if not rows:
            return ""
        return f"{record_text(rows[0], self.units)} on {rows[0].day:%a} {rows[0].day.day} {rows[0].day:%b %Y}"


def typed_on(history: History, day: date, units: Units) -> dict[str, Any]:
    """What stands on record of her for a day, as it would be typed again."""
    values: dict[str, Any] = {}
    for rows in history.records.values():
        for record in (row for row in rows if row.day == day):
            if record.weight_kg is not None:
                values["weight"] = figure(units.from_kg(record.weight_kg), 1).replace(",", "")
            if record.tract_score is not None:
                values["tract"] = record.tract_score
            if record.pelvic_height_cm is not None and record.pelvic_width_cm is not None:
                values["pelvic_height"] = figure(units.from_cm(record.pelvic_height_cm), 2)
                values["pelvic_width"] = figure(units.from_cm(record.pelvic_width_cm), 2)
            if record.condition is not None:
                values |= {"condition": int(record.condition), "condition_half": record.condition % 1 == 0.5}
            if record.vaccine:
                values.setdefault("vaccines", []).append(record.vaccine)
            if record.pregnancy:
                values["pregnancy"] = record.pregnancy
            if record.days_pregnant is not None:
                values["days_pregnant"] = record.days_pregnant
            if record.kind == _KIND.HOLD:
                values |= {"hold_reason": record.reason, "hold_until": record.until}
            if record.kind == _KIND.CALVING:
                values["calved"] = record.day
    return values
