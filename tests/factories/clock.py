"""A clock that stands still: seasons of tests lie at fixed dates."""

from datetime import datetime

import pytest
from django.utils import timezone


def stand_still(monkeypatch: pytest.MonkeyPatch, moment: datetime) -> None:
    """Every `timezone.now()` says this moment."""
    monkeypatch.setattr(timezone, "now", lambda: moment)
