"""From AI to calving: due dates and calving periods. AI day is day 0."""

from datetime import date, timedelta

# "Gestation Length" guideline, Beef Improvement Federation, undated: 283 days over all breeds. Some sheets use 285
# ("Calculations: calving distribution", University of Nebraska, 2013).
GESTATION_DAYS = 283
GESTATION_DAYS_ALTERNATIVE = 285
# A calving period: one cycle of 21 days ("Evaluate your calving distribution this spring", a state extension, 2021).
PERIOD_DAYS = 21


def due_date(ai_day: date, gestation_days: int = GESTATION_DAYS) -> date:
    """The day on which a calf from AI on `ai_day` is due."""
    return ai_day + timedelta(days=gestation_days)


def calving_period(born: date, first_due: date) -> int:
    """Which 21-day period a birth falls in; 1 is the first, and births before the first due date belong to it."""
    return max(0, (born - first_due).days) // PERIOD_DAYS + 1
