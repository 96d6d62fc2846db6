"""Units by person: exact factors, readable figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accounts.models import User
from accounts.units import Units, figure

US, SI = Units("lb", "in", "F"), Units("kg", "cm", "C")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (US.weight_text(521.631226), "1,150 lb"),
        (SI.weight_text(521.631226), "521.6 kg"),
        (US.length_text(13.335), "5.25 in"),
        (SI.length_text(13), "13 cm"),
        (figure(150, 0), "150"),
        (figure(-0.2, 0), "0"),
        (figure(1200.50, 2), "1,200.5"),
    ],
)
def test_figures_read_as_people_write_them(text: str, expected: str) -> None:
    assert text == expected


@given(st.floats(0.1, 3000))
def test_there_and_back_is_the_same(value: float) -> None:
    for units in (US, SI):
        assert units.to_kg(units.from_kg(value)) == pytest.approx(value, rel=1e-12)
        assert units.to_cm(units.from_cm(value)) == pytest.approx(value, rel=1e-12)
        assert units.to_celsius(units.from_celsius(value)) == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_units_come_from_the_profile() -> None:
    assert Units.of(User(weight_unit="kg", length_unit="in", temperature_unit="C")) == Units("kg", "in", "C")
