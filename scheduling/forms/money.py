"""Forms of the pages of money: a co-op's prices, and the figures of a partial budget."""

from decimal import Decimal
from typing import Any

from django import forms

from accounts.models import User
from scheduling.kernel.advice.chooser import Answers
from scheduling.kernel.advice.comparison import Option
from scheduling.kernel.advice.results import Semen
from scheduling.models import BARN_SPLITS, CoopPrices, SplitBy
from scheduling.services.budget import DEFAULTS, LB_PER_KG, Typed
from scheduling.services.choice_room import Subject
from scheduling.services.choosing import Wishes
from scheduling.services.prices import OWN, SHARED, default_words, label_of, shown_road


def _number(label: str, help_text: str = "", *, most: int = 100_000, places: int = 4) -> forms.DecimalField:
    return forms.DecimalField(
        label=label, help_text=help_text, required=False, min_value=Decimal(0), max_value=most, decimal_places=places
    )


class PricesForm(forms.Form):
    """A co-op's prices. An empty field means the default that stands below its name."""

    currency = forms.CharField(label="Currency sign", max_length=5)

    def __init__(self, *args: Any, row: CoopPrices, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial = {"currency": row.currency}
        for name in (*OWN, *SHARED):
            self.fields[name] = _number(label_of(name, user), f"Left empty: {default_words(name)}.")
            value = getattr(row, name)
            if value is not None:
                self.initial[name] = _plain(shown_road(value, user) if name == "km" else value)
        for name, label, choices in (
            ("technician_day_by", "A technician's day is split", SplitBy.choices),
            ("km_by", "The road is split", SplitBy.choices),
            ("barn_by", "Barn days are split", BARN_SPLITS),
        ):
            self.fields[name] = forms.ChoiceField(label=label, choices=choices)
            self.initial[name] = getattr(row, name)

    def own(self) -> list[forms.BoundField]:
        """What one female costs."""
        return [self[name] for name in OWN]

    def shared(self) -> list[forms.BoundField]:
        """What ranches share, each price with its rule."""
        return [self[name] for name in ("technician_day", "technician_day_by", "km", "km_by", "barn_day", "barn_by")]


def _plain(value: Decimal) -> str:
    """Without idle zeros: 14, 0.02."""
    return f"{value.normalize():f}"


class BudgetForm(forms.Form):
    """The figures of a partial budget, in per cent and the person's units. Asked with GET."""

    protocol = forms.ChoiceField(label="Programme")
    semen = forms.ChoiceField(
        label="Semen", choices=[(Semen.CONVENTIONAL.value, "Conventional"), (Semen.SEXED.value, "Sex-sorted")]
    )
    own_rate = forms.DecimalField(
        label="Share pregnant to AI that you expect, %",
        help_text="Left empty: the middle of what is in print for the programme.",
        required=False,
        min_value=Decimal(1),
        max_value=Decimal(100),
        decimal_places=1,
    )

    def __init__(self, data: Any, *, options: list[Option], subject: Subject, user: User, semen: Semen) -> None:
        self.user = user
        start = {name: self._shown(name, item.value) for name, item in DEFAULTS.items()}
        first = {"semen": semen.value, "protocol": _first(options, subject)}
        super().__init__(data, initial={**start, **first})
        field = self.fields["protocol"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(item.protocol.id, item.protocol.name) for item in options]
        for name, label in self._labels().items():
            source = DEFAULTS[name].source.words
            places = 0 if name == "bull_years" else 3
            self.fields[name] = _number(label, f"Default {start[name]}: {source}.", places=places)
            self.fields[name].required = True

    def _labels(self) -> dict[str, str]:
        weight = self.user.weight_unit
        return {
            "season_rate_ai": "Pregnant at the season's end with AI and clean-up bulls, %",
            "season_rate_bulls": "Pregnant at the season's end with bulls alone, %",
            "bull_price": "What a bull costs",
            "bull_salvage": "What he sells for in the end",
            "bull_years": "Years that he works",
            "bull_yearly": "His feed, veterinarian and care a year",
            "bull_interest": "Interest a year, %",
            "bull_death": "Risk that he dies in a year, %",
            "females_a_bull": "Females to a bull with bulls alone",
            "open_a_bull": "Open females to a clean-up bull after AI",
            "weaning": f"Weaning weight of a calf, {weight}",
            "calf_price": f"Price of a calf a {weight}",
            "days_older": "Days that AI calves are older at weaning",
            "weaned": "Calves weaned of females pregnant, %",
            "premium": "Premium that an AI calf brings",
        }

    def _shown(self, name: str, lb: Decimal) -> str:
        """A default in the person's unit of weight."""
        if self.user.weight_unit == "kg" and name == "weaning":
            return _plain((lb / LB_PER_KG).quantize(Decimal(1)))
        if self.user.weight_unit == "kg" and name == "calf_price":
            return _plain((lb * LB_PER_KG).quantize(Decimal("0.01")))
        return _plain(lb)

    @property
    def typed(self) -> Typed:
        """The figures in lb; the defaults of an unsent form."""
        if not self.is_bound:
            return Typed(**{name: item.value for name, item in DEFAULTS.items()})
        values = {name: self.cleaned_data[name] for name in DEFAULTS}
        if self.user.weight_unit == "kg":
            values["weaning"] *= LB_PER_KG
            values["calf_price"] /= LB_PER_KG
        return Typed(**values)

    @property
    def own_share(self) -> float | None:
        """The person's own rate as a share."""
        value = self.cleaned_data.get("own_rate") if self.is_bound else None
        return float(value) / 100 if value else None

    @property
    def chosen(self) -> str:
        """The programme's id."""
        return str(self.cleaned_data["protocol"] if self.is_bound else self.initial["protocol"])

    def first_fields(self) -> list[forms.BoundField]:
        """What is looked at first."""
        return [self[name] for name in ("protocol", "semen", "own_rate")]

    def other_fields(self) -> list[forms.BoundField]:
        """The assumptions."""
        return [self[name] for name in DEFAULTS]


def _first(options: list[Option], subject: Subject) -> str:
    """Today's programme where it ends in AI, else the first of the chooser."""
    ids = [item.protocol.id for item in options]
    if subject.entry and subject.entry.protocol in ids:
        return subject.entry.protocol
    return ids[0] if ids else ""


def budget_wishes(semen: str | None, sexed_now: bool) -> Wishes:
    """The chooser's wishes for a budget: the semen asked for, else the one that today's programme is made for."""
    if semen in (Semen.CONVENTIONAL.value, Semen.SEXED.value):
        return Wishes(Answers(), Semen(semen))
    return Wishes(Answers(), Semen.SEXED if sexed_now else Semen.CONVENTIONAL)
