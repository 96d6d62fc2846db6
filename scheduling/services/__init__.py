"""What can be done with seasons. Keyword arguments only; `now` is given by the caller; errors are typed."""

from scheduling.services.catalogue import StepWords, choices_for, protocol_name, step_words
from scheduling.services.editions import AdjustmentError, adjust, withdraw_adjustment
from scheduling.services.entries import EntryError, change_entry, enter_group, withdraw_entry
from scheduling.services.jobs import claim_job, request_plan, run_job, run_jobs_once, stop_job
from scheduling.services.notes import write_note
from scheduling.services.plans import MoveError, apply_remedy, move_group
from scheduling.services.problem import season_document
from scheduling.services.publishing import Change, DoubleBooked, PlanBroken, StalePlan, publish
from scheduling.services.records import RecordError, record_step, undo_record
from scheduling.services.seasons import SeasonFault, save_season

__all__ = [
    "AdjustmentError",
    "Change",
    "DoubleBooked",
    "EntryError",
    "MoveError",
    "PlanBroken",
    "RecordError",
    "SeasonFault",
    "StalePlan",
    "StepWords",
    "adjust",
    "apply_remedy",
    "change_entry",
    "choices_for",
    "claim_job",
    "enter_group",
    "move_group",
    "protocol_name",
    "publish",
    "record_step",
    "request_plan",
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
