"""What is made again and again from the plan before messages are sent; apps above bring their own."""

import logging
from collections.abc import Callable
from datetime import datetime

SWEEPS: list[Callable[..., object]] = []
log = logging.getLogger(__name__)


def run_sweeps(*, now: datetime) -> None:
    """Make what should exist. One that fails must not stop the others, nor the messages that wait."""
    for each in SWEEPS:
        try:
            each(now=now)
        except Exception:
            log.exception("A sweep failed; it is tried again at the next look")
