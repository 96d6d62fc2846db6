"""One turn of the reminder loop: make what should exist, send what is due. Celery and `run_outbox` both call it."""

import logging
from collections.abc import Callable

from django.db import DatabaseError, close_old_connections, connection

from herdplan.reminders import clock
from herdplan.reminders.services.asking import sweep_asks
from herdplan.reminders.services.outbox import run_once
from herdplan.reminders.services.sweep import sweep_where_due
from herdplan.reminders.sweeps import run_sweeps

log = logging.getLogger(__name__)


def turn(stopped: Callable[[], bool] = lambda: False) -> int:
    """Returns how many messages were taken up. A database that is locked or away is left for the next turn.

    Once `stopped` says so, no other message is begun.
    """
    close_old_connections()
    try:
        sweep_where_due(now=clock.now())
        sweep_asks(now=clock.now())
    except DatabaseError as fault:
        log.error("The sweep was not finished; it is done again: %s", fault)
        connection.close()
    run_sweeps(now=clock.now())
    try:
        return run_once(now=clock.now(), clock=clock.now, stopped=stopped)
    except DatabaseError as fault:
        log.error("The outbox waits for the database: %s", fault)
        connection.close()
        return 0
