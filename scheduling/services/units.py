"""A person's units as the kernel takes them."""

from accounts.models import User
from scheduling.kernel.advice.units import LengthUnit, TemperatureUnit, Units, WeightUnit


def units_of(user: User) -> Units:
    """The units of somebody's profile."""
    return Units(WeightUnit(user.weight_unit), LengthUnit(user.length_unit), TemperatureUnit(user.temperature_unit))
