"""Follow-up: did a repair hold, does a fault come more often, what lies ahead, what comes first.

Pure: values in, figures and message keys out. `followups_of` judges repairs, `trends_of` tells the
trend of every fault, `forecast` the next hours, `courses` who does the work, `service_due` and
`work_list` what comes first.
"""

from shearbolt.reasoning.follow_up.courses import Cost, Courses, Figures, Job, courses, not_offered
from shearbolt.reasoning.follow_up.followups import (
    followups_of,
    lines_of,
    rates_of,
    trends_of,
)
from shearbolt.reasoning.follow_up.forecast import Forecast, StopHistory, forecast, stop_history
from shearbolt.reasoning.follow_up.judging import Seen, Verdict, judge, needed_exposure
from shearbolt.reasoning.follow_up.kind import belief_of_kind
from shearbolt.reasoning.follow_up.line import Cut, Line, Scale, Window
from shearbolt.reasoning.follow_up.rates import Interval, RateBelief, rate_interval, rate_ratio
from shearbolt.reasoning.follow_up.service import (
    Freshness,
    ServiceDue,
    ServicePlan,
    freshness,
    hours_per_day,
    service_due,
    words_of_service,
)
from shearbolt.reasoning.follow_up.trend import PowerLaw, Trend, trend_of, words_of_trend
from shearbolt.reasoning.follow_up.values import Came, FollowUp, words_of
from shearbolt.reasoning.follow_up.work import ShopJob, Worth, work_list

__all__ = [
    "Came",
    "Cost",
    "Courses",
    "Cut",
    "Figures",
    "FollowUp",
    "Forecast",
    "Freshness",
    "Interval",
    "Job",
    "Line",
    "PowerLaw",
    "RateBelief",
    "Scale",
    "Seen",
    "ServiceDue",
    "ServicePlan",
    "ShopJob",
    "StopHistory",
    "Trend",
    "Verdict",
    "Window",
    "Worth",
    "belief_of_kind",
    "courses",
    "followups_of",
    "forecast",
    "freshness",
    "hours_per_day",
    "judge",
    "lines_of",
    "needed_exposure",
    "not_offered",
    "rate_interval",
    "rate_ratio",
    "rates_of",
    "service_due",
    "stop_history",
    "trend_of",
    "trends_of",
    "words_of",
    "words_of_service",
    "words_of_trend",
    "work_list",
]
