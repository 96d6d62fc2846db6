"""The chooser's plain questions. Asked with GET, so that an answer is an address that can be kept and sent on."""

from collections.abc import Mapping
from typing import Any

from django import forms

from scheduling.kernel.advice.chooser import DEFAULT_ORDER, QUESTIONS, Answers, Criterion
from scheduling.kernel.advice.comparison import CREW
from scheduling.kernel.advice.results import Semen
from scheduling.services.choosing import Wishes

_WORDS = {item.field: (item.words, item.effect) for item in QUESTIONS}
_MATTERS = {
    Criterion.COST: "A low cost for each AI pregnancy",
    Criterion.PREGNANCY: "Many pregnancies",
    Criterion.LABOUR: "Little work",
    Criterion.TRIPS: "Few trips through the chute",
    Criterion.LENGTH: "A short programme",
}
_TIMES = {1: "once", 2: "twice", 3: "three times"}
_CHOICES = [(item.name, words) for item, words in _MATTERS.items()]
_EITHER = [("", "No answer"), ("yes", "Yes"), ("no", "No")]


def _whole(field: str, most: int, least: int = 0) -> forms.IntegerField:
    words, effect = _WORDS[field]
    return forms.IntegerField(label=words, help_text=effect, required=False, min_value=least, max_value=most)


def _either(field: str) -> forms.ChoiceField:
    words, effect = _WORDS[field]
    return forms.ChoiceField(label=words, help_text=effect, required=False, choices=_EITHER)


class ChooseForm(forms.Form):
    """Questions about the ranch, the crew and what matters. Whatever is left empty leaves nothing out."""

    first = forms.ChoiceField(label="What matters most?", choices=_CHOICES, initial=DEFAULT_ORDER[0].name)
    second = forms.ChoiceField(label="And next?", choices=_CHOICES, initial=DEFAULT_ORDER[1].name)
    semen = forms.ChoiceField(
        label="Which semen?",
        choices=[(Semen.CONVENTIONAL.value, "Conventional"), (Semen.SEXED.value, "Sex-sorted")],
        initial=Semen.CONVENTIONAL.value,
    )
    crew = forms.IntegerField(
        label="How many people work at the chute?", min_value=1, max_value=20, initial=CREW, help_text="All together."
    )
    watch_days = _whole("watch_days", 40)
    most_trips = _whole("most_trips", 10, 1)
    longest_days = _whole("longest_days", 60, 1)
    one_day = _either("one_day")
    inserts = _either("inserts")
    feeds_mga = _either("feeds_mga")
    only_listed = _either("only_listed")
    own_rate = forms.FloatField(
        label="Your own AI pregnancy rate with the programme that is chosen now, %",
        help_text="Pregnant to AI of all treated. It then stands in place of the printed rate.",
        required=False,
        min_value=1,
        max_value=100,
    )

    def __init__(self, *args: Any, heifers: bool, entered: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not heifers:
            del self.fields["feeds_mga"]
        if not entered:
            del self.fields["own_rate"]
        self.fields["only_listed"].initial = "yes"

    def clean(self) -> dict[str, Any]:
        """What matters next is something else than what matters most."""
        values = super().clean() or {}
        if values.get("first") and values.get("first") == values.get("second"):
            self.add_error("second", "Choose something else than what matters most.")
        return values

    @property
    def weights(self) -> list[tuple[str, str]]:
        """What places are added up, in words, with how often each counts."""
        order = self.wishes.order
        words = [_MATTERS[item][0].lower() + _MATTERS[item][1:] for item in order]
        return [(said, _TIMES[len(order) - i]) for i, said in enumerate(words)]

    @property
    def wishes(self) -> Wishes:
        """The answers as the chooser takes them; of an unanswered form, the defaults."""
        return _wishes(self.cleaned_data) if self.is_bound else Wishes()


def _wishes(values: Mapping[str, Any]) -> Wishes:
    def either(name: str) -> bool | None:
        return {"yes": True, "no": False}.get(values.get(name, ""))

    chosen = (Criterion[values["first"]], Criterion[values["second"]])
    third = next(item for item in DEFAULT_ORDER if item not in chosen)
    rate = values.get("own_rate")
    return Wishes(
        answers=Answers(
            watch_days=values["watch_days"],
            most_trips=values["most_trips"],
            longest_days=values["longest_days"],
            one_day=either("one_day"),
            inserts=either("inserts"),
            feeds_mga=either("feeds_mga"),
            only_listed=either("only_listed"),
        ),
        semen=Semen(values["semen"]),
        crew=values["crew"],
        own_rate=rate / 100 if rate else None,
        order=(*chosen, third),
    )
