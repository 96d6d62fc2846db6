"""What can be done with messages and reminders. Keyword arguments only; `now` is given by the caller; errors are typed."""

from herdplan.reminders.services.calls import CallError, note_call, overdue, set_seen_minutes
from herdplan.reminders.services.changes import mark_seen, notice_of_link, seen_link, settings_of
from herdplan.reminders.services.loop import turn
from herdplan.reminders.services.outbox import MAX_ATTEMPTS, claim, enqueue, health, key_of, run_once, send, send_again
from herdplan.reminders.services.people import (
    PreferenceError,
    add_push,
    add_service,
    language_of,
    profile_of,
    save_choice,
    save_settings,
)
from herdplan.reminders.services.sweep import sweep, sweep_where_due
from herdplan.reminders.services.trial import send_trial

__all__ = [
    "MAX_ATTEMPTS",
    "CallError",
    "PreferenceError",
    "add_push",
    "add_service",
    "claim",
    "enqueue",
    "health",
    "key_of",
    "language_of",
    "mark_seen",
    "note_call",
    "notice_of_link",
    "overdue",
    "profile_of",
    "run_once",
    "save_choice",
    "save_settings",
    "seen_link",
    "send",
    "send_again",
    "send_trial",
    "set_seen_minutes",
    "settings_of",
    "sweep",
    "sweep_where_due",
    "turn",
]
