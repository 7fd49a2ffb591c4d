"""Findings held against age norms, growth standards, danger signs, and what a visit should look at.

    Items, Infant, Age, Norms, earlier visits -> Remarks;   Items, Age, Norms -> Coverage

Facts are data (vocab/norms/, red_flags, cautions, coverage, jurisdiction); this package only applies them.
"""

from pipeline.check.ages import age_at_visit, both_shown
from pipeline.check.coverage import Coverage, Entry, State, coverage
from pipeline.check.engine import check
from pipeline.check.growth import GrowthPoint, growth_points, z_score
from pipeline.check.law import caution_texts, standing_cautions
from pipeline.check.norms import Norms, load_norms
from pipeline.check.part import part_table
from pipeline.check.plausible import confirmed_values
from pipeline.check.visit import Options

__all__ = [
    "Coverage",
    "Entry",
    "GrowthPoint",
    "Norms",
    "Options",
    "State",
    "age_at_visit",
    "both_shown",
    "caution_texts",
    "check",
    "confirmed_values",
    "coverage",
    "growth_points",
    "load_norms",
    "part_table",
    "standing_cautions",
    "z_score",
]
