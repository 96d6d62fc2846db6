"""Pages of the plan, by family."""

from scheduling.views.days import step_done, step_undo, technician_week, today
from scheduling.views.entries import entries, entry_form, entry_page, entry_withdraw
from scheduling.views.plans import job_progress, job_stop, move, plan_season, publish_plan, remedy, use_plan
from scheduling.views.protocols import adjustment_withdraw, protocol, protocols
from scheduling.views.seasons import season_form, season_page, seasons

__all__ = [
    "adjustment_withdraw",
    "entries",
    "entry_form",
    "entry_page",
    "entry_withdraw",
    "job_progress",
    "job_stop",
    "move",
    "plan_season",
    "protocol",
    "protocols",
    "publish_plan",
    "remedy",
    "season_form",
    "season_page",
    "seasons",
    "step_done",
    "step_undo",
    "technician_week",
    "today",
    "use_plan",
]
