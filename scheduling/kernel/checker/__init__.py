"""The independent checker: tests a plan against every rule of the season contract and recomputes its cost.

It shares no code with the search; it reads the plan's times as they stand and works out everything else again.
"""

from scheduling.kernel.checker.check import check
from scheduling.kernel.checker.report import Broken, Report

__all__ = ["Broken", "Report", "check"]
