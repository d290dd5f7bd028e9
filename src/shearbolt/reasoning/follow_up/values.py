"""The values of a follow-up, and what is to be said of it as message keys."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.model.instants import Instant
from shearbolt.reasoning.follow_up.judging import Result
from shearbolt.reasoning.follow_up.line import Scale
from shearbolt.reasoning.follow_up.rates import Interval
from shearbolt.reasoning.settings import Words

MOSTLY = 0.5
"""From here up 'partly better' is taken to be so: what was before no longer holds."""


@dataclass(frozen=True, slots=True)
class Came:
    """When and where something came about."""

    visit: str
    hours: float | None
    """Engine hours."""
    at_us: Instant | None
    seen: bool
    """Its start was seen; False: it was on already, or a count tells it."""


@dataclass(frozen=True, slots=True)
class FollowUp:
    """The running answer to 'did that repair hold?' for one fault."""

    fault: str
    repair: str
    bundle: tuple[str, ...]
    """Repairs with no look between them, this one included: judged together."""
    grade: str
    result: Result | None
    """None: there is nothing to judge, as with an old memory."""
    scale: Scale
    alternative: int | None
    """Which of the setting's alternatives the exposure is of, the most careful; None: itself."""
    events_before: int
    exposure_before: float
    events_after: int
    exposure_after: float
    """Clean or not, but tested."""
    not_tested: float
    """Exposure since a clear in which the controller had not yet tested again."""
    blind_h: float
    """Engine hours since in which nobody could have seen a start."""
    estimated_share: float
    """Of both exposures, what is estimated from the recorded share."""
    unsure_events: int
    """Starts known by number that may lie on either side of the repair; counted on neither."""
    in_bursts: bool
    """Starts come in bursts: key cycles with a start are counted."""
    p_clean_if_unchanged: float | None
    p_unchanged: float | None
    p_partly: float | None
    still_needed: float | None
    rate_ratio: Interval | None
    """Rate after over rate before."""
    remaining: Interval | None
    """Where it came back: the share of the rate that is left, if no more than before."""
    first_return: Came | None
    held_at: Came | None
    """The look at which it could first be called held, whether or not it was revoked."""
    stood_days: float | None
    """Days for which it stood as held until it came back; None: it never stood, or stands."""
    stood_h: float | None
    """The same in engine hours."""
    needs_inspection: bool
    """A safety function: clean hours never settle it, and no caution is lifted."""


def words_of(one: FollowUp) -> tuple[Words, ...]:
    """Give what is to be said of a follow-up, in its order: message keys with SI values."""
    if one.result is None:
        return (("followup.nothing_to_judge", ()),)
    counts = (
        ("scale", one.scale),
        ("events_before", one.events_before),
        ("exposure_before", one.exposure_before),
        ("events_after", one.events_after),
        ("exposure_after", one.exposure_after),
        ("p_clean_if_unchanged", one.p_clean_if_unchanged),
        ("p_unchanged", one.p_unchanged),
    )
    said: list[Words] = [(f"followup.{one.result}", counts)]
    if one.result == "too_early":
        if one.still_needed is None:
            said.append(("followup.no_start_before", ()))
        else:
            said.append(
                ("followup.still_needed", (("scale", one.scale), ("needed", one.still_needed)))
            )
    if one.first_return is not None:
        came = one.first_return
        said.append(
            (
                "followup.came_back" if came.seen else "followup.was_on_again",
                (("visit", came.visit), ("hours", came.hours), ("at_us", came.at_us)),
            )
        )
    if one.held_at is not None and one.result == "not_held":
        said.append(("followup.stood", (("days", one.stood_days), ("hours", one.stood_h))))
    if one.remaining is not None and (one.p_partly or 0.0) >= MOSTLY:
        left = one.remaining
        said.append(
            (
                "followup.partly",
                (("remaining", left.value), ("low", left.low), ("high", left.high)),
            )
        )
    if one.not_tested > 0.0:
        said.append(("followup.not_tested", (("scale", one.scale), ("exposure", one.not_tested))))
    if one.blind_h > 0.0 and one.result == "too_early":
        said.append(("followup.blind", (("hours", one.blind_h),)))
    if one.unsure_events:
        said.append(("followup.unsure", (("events", one.unsure_events),)))
    if one.in_bursts:
        said.append(("followup.in_bursts", ()))
    if one.estimated_share > 0.0:
        said.append(("followup.estimated", (("share", one.estimated_share),)))
    if len(one.bundle) > 1:
        said.append(("followup.bundle", (("repairs", len(one.bundle)),)))
    if one.needs_inspection:
        said.append(("followup.needs_inspection", ()))
    return tuple(said)
