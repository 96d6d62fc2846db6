"""Pages of the plan, by family."""

from scheduling.views.choosing import choose, choose_group, choose_use
from scheduling.views.clashes import ask, asks, clash, clash_drop, clashes, remedy_choose
from scheduling.views.days import step_done, step_undo, technician_week, today
from scheduling.views.entries import entries, entry_form, entry_page, entry_withdraw
from scheduling.views.fairness import holiday_remove, holidays, shares_page
from scheduling.views.heat import (
    heat,
    heat_ranch,
    weather_file_coop,
    weather_file_new,
    weather_file_remove,
    weather_normals,
    weather_normals_coop,
)
from scheduling.views.money import budget, costs, prices, statement, statement_csv
from scheduling.views.moves import move_edit, move_new, move_withdraw, moves
from scheduling.views.plans import job_progress, job_stop, move, plan_season, publish_plan, remedy, use_plan
from scheduling.views.preparation import (
    after_ai,
    care,
    entry_preparation,
    group_preparation,
    item,
    item_tick,
    preparation,
)
from scheduling.views.protocols import adjustment_withdraw, protocol, protocols
from scheduling.views.readiness import (
    late_calvers,
    readiness,
    ready,
    ready_female,
    ready_group,
    ready_of_female,
    ready_of_group,
    ready_override,
    ready_sign,
    ready_withdraw,
)
from scheduling.views.replanning import replan, replan_form, replanning, replanning_accept, replanning_drop
from scheduling.views.seasons import season_form, season_page, seasons
from scheduling.views.sheets import day_sheet
from scheduling.views.whys import limit_withdraw, limits, why, whys

__all__ = [
    "adjustment_withdraw",
    "after_ai",
    "ask",
    "asks",
    "budget",
    "care",
    "choose",
    "choose_group",
    "choose_use",
    "clash",
    "clash_drop",
    "clashes",
    "costs",
    "day_sheet",
    "entries",
    "entry_form",
    "entry_page",
    "entry_preparation",
    "entry_withdraw",
    "group_preparation",
    "heat",
    "heat_ranch",
    "holiday_remove",
    "holidays",
    "item",
    "item_tick",
    "job_progress",
    "job_stop",
    "late_calvers",
    "limit_withdraw",
    "limits",
    "move",
    "move_edit",
    "move_new",
    "move_withdraw",
    "moves",
    "plan_season",
    "preparation",
    "prices",
    "protocol",
    "protocols",
    "publish_plan",
    "readiness",
    "ready",
    "ready_female",
    "ready_group",
    "ready_of_female",
    "ready_of_group",
    "ready_override",
    "ready_sign",
    "ready_withdraw",
    "remedy",
    "remedy_choose",
    "replan",
    "replan_form",
    "replanning",
    "replanning_accept",
    "replanning_drop",
    "season_form",
    "season_page",
    "seasons",
    "shares_page",
    "statement",
    "statement_csv",
    "step_done",
    "step_undo",
    "technician_week",
    "today",
    "use_plan",
    "weather_file_coop",
    "weather_file_new",
    "weather_file_remove",
    "weather_normals",
    "weather_normals_coop",
    "why",
    "whys",
]
