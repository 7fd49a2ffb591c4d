"""Findings held against age norms, growth standards, danger signs, and what a visit should look at.

    Items, Infant, Age, Norms, earlier visits -> Remarks;   Items, Age, Norms -> Coverage

Facts are data (vocab/norms/, red_flags, cautions, coverage, jurisdiction); this package only applies them.
"""

from pipeline.check.ages import age_at_visit, both_shown
from pipeline.check.coverage import Coverage, Entry, State, coverage
from pipeline.check.engine import check
from pipeline.check.growth import GrowthPoint, growth_points, z_score
from pipeline.check.law import Jurisdiction, standing_cautions
from pipeline.check.norms import Norms, load_norms
from pipeline.check.part import PartTable, part_table
from pipeline.check.visit import Options, PastVisit

__all__ = [
    "Coverage",
    "Entry",
    "GrowthPoint",
    "Jurisdiction",
    "Norms",
    "Options",
    "PartTable",
    "PastVisit",
    "State",
    "age_at_visit",
    "both_shown",
    "check",
    "coverage",
    "growth_points",
    "load_norms",
    "part_table",
    "standing_cautions",
    "z_score",
]
