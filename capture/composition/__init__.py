"""From confirmed readings to a sum of folds, a density and a careful fat percent. All pure.

For a notebook:

>>> from capture.composition import equation_by_id, predict
>>> found = predict(equation_by_id("jackson_pollock_1978_men_3"), sum_mm=60, age_years=40)
>>> found.plain_range
'19.1 %, likely 16 to 23'

Units stand in the names: mm for folds, years, g/cm³, kg; percent is of body mass. The bare
formulas (`Equation.density_g_cm3`, `Equation.direct_fat_percent`, `Conversion.fat_percent`) take
arrays of sums as well as one sum; what judges a range or words a result takes one.
"""

from capture.composition.assessor import (
    MIN_PAIRS,
    SiteError,
    between_assessors,
    within_assessor,
)
from capture.composition.change import Change, Verdict, VisitChange, change_since, last_change
from capture.composition.client import ClientDefaults
from capture.composition.conversion import Conversion, convert
from capture.composition.conversion import conversion as conversion_by_id
from capture.composition.conversion import conversions as all_conversions
from capture.composition.equations import applicable, compute_density
from capture.composition.equations import equation as equation_by_id
from capture.composition.equations import equations as all_equations
from capture.composition.forms import Confirmed, Equation, FoldDirection, Gives, Sex
from capture.composition.measured import (
    Conditions,
    Difference,
    MeasuredVisit,
    Side,
    SiteMeasurement,
    differences,
)
from capture.composition.norms import Norm, norm
from capture.composition.prediction import Prediction, predict
from capture.composition.reasons import Reason, ReasonKind
from capture.composition.results import VisitResult, visit_result
from capture.composition.statistics import (
    relative_tem_percent,
    reliability,
    repeatability,
    settle,
    smallest_real_change_mm,
    tem_pairs,
    tem_trials,
    total_tem,
)
from capture.composition.uncertainty import goal_weight, masses, plain_range, spread
from capture.composition.usual import usual_equation

__all__ = [
    "MIN_PAIRS",
    "Change",
    "ClientDefaults",
    "Conditions",
    "Confirmed",
    "Conversion",
    "Difference",
    "Equation",
    "FoldDirection",
    "Gives",
    "MeasuredVisit",
    "Norm",
    "Prediction",
    "Reason",
    "ReasonKind",
    "Sex",
    "Side",
    "SiteError",
    "SiteMeasurement",
    "Verdict",
    "VisitChange",
    "VisitResult",
    "all_conversions",
    "all_equations",
    "applicable",
    "between_assessors",
    "change_since",
    "compute_density",
    "conversion_by_id",
    "convert",
    "differences",
    "equation_by_id",
    "goal_weight",
    "last_change",
    "masses",
    "norm",
    "plain_range",
    "predict",
    "relative_tem_percent",
    "reliability",
    "repeatability",
    "settle",
    "smallest_real_change_mm",
    "spread",
    "tem_pairs",
    "tem_trials",
    "total_tem",
    "usual_equation",
    "visit_result",
    "within_assessor",
]
