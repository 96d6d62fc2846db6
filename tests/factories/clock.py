"""Clocks for tests whose seasons lie at fixed dates: one that stands still, one that runs from a moment."""

from datetime import datetime

import pytest
from django.utils import timezone


def stand_still(monkeypatch: pytest.MonkeyPatch, moment: datetime) -> None:
    """Every `timezone.now()` says this moment."""
    monkeypatch.setattr(timezone, "now", lambda: moment)


def run_from(monkeypatch: pytest.MonkeyPatch, moment: datetime) -> None:
    """`timezone.now()` begins at this moment and goes on from there."""
    real = timezone.now
    ahead = moment - real()
    monkeypatch.setattr(timezone, "now", lambda: real() + ahead)
