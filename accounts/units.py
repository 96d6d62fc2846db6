"""Units by person. Stored and computed in kg, cm and °C; typed and read as each profile says."""

from dataclasses import dataclass

from accounts.models import User

# Exact by definition: "International yard and pound agreement", 1959.
KG_PER_LB, CM_PER_IN, KM_PER_MILE = 0.45359237, 2.54, 1.609344


@dataclass(frozen=True)
class Units:
    """What a person types and reads: `weight` lb or kg, `length` in or cm, `temperature` F or C."""

    weight: str = "lb"
    length: str = "in"
    temperature: str = "F"

    @classmethod
    def of(cls, user: User) -> "Units":
        """The units of somebody's profile."""
        return cls(user.weight_unit, user.length_unit, user.temperature_unit)

    def to_kg(self, typed: float) -> float:
        """A typed weight in kg."""
        return typed * KG_PER_LB if self.weight == "lb" else typed

    def from_kg(self, kg: float) -> float:
        """A stored weight in the person's unit."""
        return kg / KG_PER_LB if self.weight == "lb" else kg

    def to_cm(self, typed: float) -> float:
        """A typed length in cm."""
        return typed * CM_PER_IN if self.length == "in" else typed

    def from_cm(self, cm: float) -> float:
        """A stored length in the person's unit."""
        return cm / CM_PER_IN if self.length == "in" else cm

    def to_celsius(self, typed: float) -> float:
        """A typed temperature in °C."""
        return (typed - 32) / 1.8 if self.temperature == "F" else typed

    def from_celsius(self, celsius: float) -> float:
        """A stored temperature in the person's unit."""
        return celsius * 1.8 + 32 if self.temperature == "F" else celsius

    def weight_text(self, kg: float) -> str:
        """A weight as it is read: 1,150 lb, 521.5 kg."""
        return f"{figure(self.from_kg(kg), 1)} {self.weight}"

    def length_text(self, cm: float) -> str:
        """A length as it is read: 13.5 cm, 5.25 in."""
        return f"{figure(self.from_cm(cm), 2)} {self.length}"


def figure(value: float, places: int) -> str:
    """A number with at most that many decimals, without idle zeros, thousands set off by commas."""
    text = f"{value:,.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text
