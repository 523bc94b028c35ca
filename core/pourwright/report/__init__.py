"""Reports for people: what was found and what to weigh out, as short plain-text tables.

People count from 1, so pockets, vents and poses have one more here than in the JSON files.
"""

from pourwright.report.lists import bases_report, materials_report, printers_report
from pourwright.report.plan import air_report, plan_report
from pourwright.report.pose import pose_report

__all__ = [
    "air_report", "bases_report", "materials_report", "plan_report", "pose_report",
    "printers_report",
]  # fmt: skip
