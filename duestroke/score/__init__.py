"""How forecasts came out: coverage with bounds, ranked probability score, probability transform."""

from duestroke.score.answer import score_answer, summary_answer
from duestroke.score.bounds import (
    Coverage,
    acceptance_band,
    coverage,
    exact_bounds,
    share_bounds,
    wilson_bounds,
)
from duestroke.score.crps import (
    crps_from_draws,
    crps_lognormal,
    crps_normal,
    crps_of_quantiles,
    crps_weibull,
)
from duestroke.score.ends import Ending, Look, Outcome, Stretch, came_before, ending
from duestroke.score.limit import ProductLimit, Share, ended_weights
from duestroke.score.rule import handbook_rule
from duestroke.score.scored import RANGES, Made, Score, score
from duestroke.score.summary import Cell, RangeScore, Reliability, Scored, Summary, summarise
from duestroke.score.transform import chances_at, probability_transform
from duestroke.score.uniform import Uniformity, critical_distances, drawn, uniformity

__all__ = [
    "RANGES",
    "Cell",
    "Coverage",
    "Ending",
    "Look",
    "Made",
    "Outcome",
    "ProductLimit",
    "RangeScore",
    "Reliability",
    "Score",
    "Scored",
    "Share",
    "Stretch",
    "Summary",
    "Uniformity",
    "acceptance_band",
    "came_before",
    "chances_at",
    "coverage",
    "critical_distances",
    "crps_from_draws",
    "crps_lognormal",
    "crps_normal",
    "crps_of_quantiles",
    "crps_weibull",
    "drawn",
    "ended_weights",
    "ending",
    "exact_bounds",
    "handbook_rule",
    "probability_transform",
    "score",
    "score_answer",
    "share_bounds",
    "summarise",
    "summary_answer",
    "uniformity",
    "wilson_bounds",
]
