"""What can be done with seasons. Keyword arguments only; `now` is given by the caller; errors are typed."""

from scheduling.services.agreement import answer_ask, choose_remedy, drop_case
from scheduling.services.answers import answers_of, note_answer
from scheduling.services.catalogue import StepWords, choices_for, protocol_name, step_words
from scheduling.services.clashes import open_case
from scheduling.services.editions import AdjustmentError, adjust, withdraw_adjustment
from scheduling.services.entries import EntryError, change_entry, enter_group, withdraw_entry
from scheduling.services.fairness import HolidayError, add_holiday, remove_holiday
from scheduling.services.jobs import claim_job, request_plan, run_job, run_jobs_once, stop_job
from scheduling.services.notes import write_note
from scheduling.services.plans import MoveError, apply_remedy, move_group
from scheduling.services.problem import season_document
from scheduling.services.publishing import (
    Change,
    DoubleBooked,
    PlanBroken,
    StalePlan,
    bump_calendar,
    publish,
    published_words,
)
from scheduling.services.records import RecordError, record_step, undo_record
from scheduling.services.replanning import (
    Happening,
    ReplanError,
    accept_replanning,
    drop_replanning,
    request_replanning,
)
from scheduling.services.seasons import SeasonFault, save_season
from scheduling.services.trials import TrialError

__all__ = [
    "AdjustmentError",
    "Change",
    "DoubleBooked",
    "EntryError",
    "Happening",
    "HolidayError",
    "MoveError",
    "PlanBroken",
    "RecordError",
    "ReplanError",
    "SeasonFault",
    "StalePlan",
    "StepWords",
    "TrialError",
    "accept_replanning",
    "add_holiday",
    "adjust",
    "answer_ask",
    "answers_of",
    "apply_remedy",
    "bump_calendar",
    "change_entry",
    "choices_for",
    "choose_remedy",
    "claim_job",
    "drop_case",
    "drop_replanning",
    "enter_group",
    "move_group",
    "note_answer",
    "open_case",
    "protocol_name",
    "publish",
    "published_words",
    "record_step",
    "remove_holiday",
    "request_plan",
    "request_replanning",
    "run_job",
    "run_jobs_once",
    "save_season",
    "season_document",
    "step_words",
    "stop_job",
    "undo_record",
    "withdraw_adjustment",
    "withdraw_entry",
    "write_note",
]
