"""One fault's advice, judged at the worst moment of its recorded spells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from shearbolt.dictionary.advice_kinds import (
    CLASSES,
    AdviceClass,
    AdviceKind,
    EngineAction,
    kinds_by_key,
)
from shearbolt.model.fault import FaultSeen, Lamps
from shearbolt.reasoning.advice.moments import (
    Danger,
    Moment,
    dangers_for,
    engine_ran,
    least,
    most,
    moved,
)
from shearbolt.reasoning.advice.values import Reason, Until
from shearbolt.reasoning.case import FaultCase

LIT = ("on", "slow", "fast")
LAMP_TEST_S = 10.0
"""Lamps lit at key-on for their own test are out by then (common practice, no source)."""
WARM_OIL_C = 40.0
"""A filter switch counts from here (reference sheet section 6.6)."""
FROST_C = -11.0
"""DEF freezes (ISO 22241)."""
THAW_H = 1.2
"""Time that a frozen DEF tank may take (common practice: 70 min)."""
FINAL_LEVELS = 3.0
"""Inducement from this level on limits speed or torque gravely."""


@dataclass(slots=True)
class Verdict:
    """An advice in the making: it only ever gets more careful, but for what `settle` says."""

    kind: AdviceKind
    advice: AdviceClass
    place: str
    engine: EngineAction | None
    until: Until
    because: list[Reason] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)

    def demand(
        self,
        advice: AdviceClass,
        reason: Reason,
        engine: EngineAction | None = None,
        place: str = "",
    ) -> None:
        """Ask for at least this class; the reason is kept where it asks for as much or more."""
        before, asked = CLASSES.index(self.advice), CLASSES.index(advice)
        if asked < before:
            return
        self.because.append(reason)
        if asked > before:
            self.advice = advice
            self.engine = engine or self.engine
            self.place = place or self.place

    def caution(self, *keys: str) -> None:
        """Add cautions, each once."""
        self.cautions.extend(one for one in keys if one not in self.cautions)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What else counts for one fault."""

    stale: bool
    in_dip: bool
    """All its spells began while the starter pulled the voltage down."""
    power_lost: bool
    """Power was noted or measured as lost in its spells."""
    coolant_lost: bool
    """Coolant was lost in its spells."""


def judge(
    fault: FaultCase,
    kind: AdviceKind,
    moments: Sequence[Moment],
    sightings: Sequence[FaultSeen],
    around: Surroundings,
) -> Verdict:
    """Judge one fault. `sightings` are all its visits' tellings, spells or none."""
    verdict = Verdict(kind, kind.advice, kind.place, kind.engine, Until(kind.until, kind.until_h))
    verdict.caution(*kind.cautions)
    if around.stale:
        verdict.advice = kind.floor
        verdict.because.append(Reason("memory_only"))
        if kind.floor != "note_only":
            verdict.because.append(Reason("floor"))
        return _closed(verdict)
    verdict.because.append(Reason(f"kind_{kind.kind}"))
    lowered = _settle(verdict, kind, moments, around)
    _lamps(verdict, kind, moments, sightings, lowered)
    for moment in moments:
        for danger in dangers_for(fault, moment):
            _danger(verdict, danger, moment)
    _conditions(verdict, kind, moments, around)
    if CLASSES.index(verdict.advice) < CLASSES.index(kind.floor):
        verdict.demand(kind.floor, Reason("floor"))
    return _closed(verdict)


def _settle(
    verdict: Verdict, kind: AdviceKind, moments: Sequence[Moment], around: Surroundings
) -> bool:
    """Take back what the kind alone asks where the machine's own state says so."""
    if "interlock" in kind.traits and moments and all(moved(one) is False for one in moments):
        verdict.advice = "note_only"
        verdict.until = Until("open", None)
        verdict.because.append(Reason("interlock_standing", (), *_first_of(moments)))
        return True
    if around.in_dip:
        verdict.advice = "note_only"
        verdict.until = Until("open", None)
        verdict.because.append(Reason("while_cranking", (), *_first_of(moments)))
        return True
    if "destroys" in kind.traits and moments and _stood(moments):
        if all(one.lasts_s <= LAMP_TEST_S for one in moments):
            verdict.advice = "note_only"
            verdict.until = Until("open", None)
            verdict.because.append(Reason("lamp_test", (), *_first_of(moments)))
            return True
        verdict.place, verdict.engine = "do_not_start", None
        verdict.because.append(Reason("engine_stood", (), *_first_of(moments)))
    if "cold_filter" in kind.traits:
        _filter(verdict, kind, moments)
    return False


def _filter(verdict: Verdict, kind: AdviceKind, moments: Sequence[Moment]) -> None:
    """Tell a filter switch that closes in cold oil from one that closes in warm."""
    quantity = "transmission_c" if kind.kind == "transmission_filter" else "hydraulic_c"
    told = [(one, most(one, quantity)) for one in moments]
    warm = [(one, value) for one, value in told if value is not None and value >= WARM_OIL_C]
    if moments and all(value is not None for _, value in told) and not warm:
        coldest = min(value for _, value in told if value is not None)
        verdict.because.append(Reason("cold_filter", (("oil_c", coldest),), *_first_of(moments)))
        verdict.until = Until("warm", 0.5)
        return
    verdict.until = Until("day_end", 4.0)
    if warm:
        one, value = warm[0]
        reason = Reason(
            "warm_filter", (("oil_c", float(value or 0.0)),), one.visit.visit, one.spell.start_us
        )
    else:
        reason = Reason("filter_oil_unknown")
    verdict.demand("finish_gently", reason)


def _lamps(
    verdict: Verdict,
    kind: AdviceKind,
    moments: Sequence[Moment],
    sightings: Sequence[FaultSeen],
    lowered: bool,
) -> None:
    """Ask what the lamps ask: never less careful than they."""
    lit: list[tuple[Lamps, Moment | None]] = [(one.seen.lamps, one) for one in moments]
    lit.extend((one.lamps, None) for one in sightings if not one.spells)
    for lamps, moment in lit:
        if lamps.red_stop in LIT:
            _red(verdict, kind, moment)
        if lamps.amber_warning == "fast" or lamps.mil == "fast":
            verdict.demand("finish_gently", _at("flashing_lamp", moment))
        elif lamps.amber_warning in LIT and not (lowered and _short(moment)):
            _raise_only(verdict, "keep_working", _at("amber_lamp", moment))
        elif lamps.mil in LIT and not (lowered and _short(moment)):
            _raise_only(verdict, "keep_working", _at("mil", moment))
    _lampless(verdict, kind, lit)


def _lampless(
    verdict: Verdict, kind: AdviceKind, lit: Sequence[tuple[Lamps, Moment | None]]
) -> None:
    """Judge a maker's own code, of which nothing else is known, by its lamps alone."""
    if "by_lamps" not in kind.traits or not lit:
        return
    verdict.because.append(Reason("own_code_by_lamps"))
    known = [one for lamps, _ in lit for one in _states(lamps) if one is not None]
    if known and verdict.advice == "keep_working" and not any(one.any_lit for one, _ in lit):
        verdict.advice = "note_only"
        verdict.until = Until("open", None)
        verdict.because.append(Reason("no_lamp"))


def _states(lamps: Lamps) -> tuple[object, ...]:
    return lamps.mil, lamps.red_stop, lamps.amber_warning, lamps.protect


def _red(verdict: Verdict, kind: AdviceKind, moment: Moment | None) -> None:
    """Follow a lit red stop lamp: with the engine running stop, standing only if it stays."""
    ran = engine_ran(moment) if moment is not None else None
    if ran is False and moment is not None:
        if moment.lasts_s <= LAMP_TEST_S:
            verdict.because.append(_at("lamp_test", moment))
            return
        if "destroys" in kind.traits:
            verdict.demand("stop_now", _at("red_lamp_standing", moment), None, "do_not_start")
        else:
            verdict.demand("finish_gently", _at("red_lamp_standing", moment))
        return
    engine = kind.engine or ("idle_then_off" if "heat" in kind.traits else "off_at_once")
    place = kind.place or "level_ground"
    if verdict.place == "do_not_start":
        verdict.place, verdict.engine = place, engine
    if ran is None:
        verdict.because.append(_at("engine_unknown", moment))
    verdict.demand("stop_now", _at("red_lamp", moment), engine, place)


def _danger(verdict: Verdict, danger: Danger, moment: Moment) -> None:
    bound = danger.reading.bound
    reason = Reason(
        f"reading_{danger.reading.reading}",
        ((bound.quantity, danger.value), ("limit", bound.value), ("hold_s", danger.reading.hold_s)),
        moment.visit.visit,
        danger.at_us,
    )
    verdict.caution(*danger.reading.cautions)
    if verdict.place == "do_not_start":
        verdict.place, verdict.engine = danger.reading.place, danger.reading.engine
    verdict.demand("stop_now", reason, danger.reading.engine, danger.reading.place)


def _conditions(
    verdict: Verdict, kind: AdviceKind, moments: Sequence[Moment], around: Surroundings
) -> None:
    """Ask what the state of the machine asks beside lamps and limits."""
    if "water" in kind.traits and around.power_lost:
        verdict.demand("stop_now", Reason("water_and_power_lost"), "off_at_once", "level_ground")
    if verdict.engine == "idle_then_off" and around.coolant_lost:
        verdict.engine = "off_at_once"
        verdict.because.append(Reason("coolant_lost_too"))
    if "emission" in kind.traits:
        levels = [(one, value) for one in moments if (value := most(one, "inducement")) is not None]
        high = [(one, value) for one, value in levels if FINAL_LEVELS <= value <= 5.0]
        if high:
            one, value = high[0]
            verdict.until = Until("before_creep", 2.0)
            verdict.demand(
                "finish_gently",
                Reason("inducement", (("level", value),), one.visit.visit, one.spell.start_us),
            )
    if "def" in kind.traits:
        _frost(verdict, moments)


def _frost(verdict: Verdict, moments: Sequence[Moment]) -> None:
    """Give a frozen DEF tank its time to thaw before it is called a fault."""
    for quantity in ("def_c", "ambient_c"):
        told = [(one, value) for one in moments if (value := least(one, quantity)) is not None]
        if told and all(value <= FROST_C for _, value in told):
            one, value = told[0]
            verdict.caution("def_frost")
            verdict.until = Until("thaw", THAW_H)
            verdict.because.append(
                Reason("def_frost", ((quantity, value),), one.visit.visit, one.spell.start_us)
            )
            return


def _raise_only(verdict: Verdict, advice: AdviceClass, reason: Reason) -> None:
    if CLASSES.index(advice) > CLASSES.index(verdict.advice):
        verdict.demand(advice, reason)


def _stood(moments: Sequence[Moment]) -> bool:
    return all(engine_ran(one) is False for one in moments)


def _short(moment: Moment | None) -> bool:
    """Tell whether a lamp was out again soon after the start."""
    return moment is not None and moment.lasts_s <= 60.0 and moment.spell.ended_by == "healed"


def _at(key: str, moment: Moment | None) -> Reason:
    if moment is None:
        return Reason(key)
    return Reason(key, (), moment.visit.visit, moment.spell.start_us)


def _first_of(moments: Sequence[Moment]) -> tuple[str | None, int | None]:
    if not moments:
        return None, None
    return moments[0].visit.visit, moments[0].spell.start_us


def _closed(verdict: Verdict) -> Verdict:
    """Make it whole: an end for all that is more than a note, a place for all that must stop."""
    default = kinds_by_key()["by_lamps"]
    if verdict.advice == "note_only":
        verdict.until = Until("open", None)
        verdict.engine, verdict.place = None, ""
    elif verdict.advice == "stop_now":
        if verdict.place != "do_not_start":
            verdict.place = verdict.place or "level_ground"
            verdict.engine = verdict.engine or "off_at_once"
        verdict.until = Until("cause_found", None)
    else:
        if verdict.advice == "finish_gently":
            verdict.until = _end(verdict.until, "yard", 2.0)
        else:
            verdict.until = _end(verdict.until, "day_end", 10.0)
        if verdict.engine != "keep_running_until_safe":
            verdict.engine = None
    if verdict.kind.watch is None:
        verdict.kind = replace(verdict.kind, watch=default.watch)
    seen: set[tuple[str, str | None]] = set()
    kept: list[Reason] = []
    for one in verdict.because:
        if (one.key, one.visit) not in seen:
            seen.add((one.key, one.visit))
            kept.append(one)
    verdict.because = kept
    return verdict


def _end(until: Until, key: str, hours: float) -> Until:
    """Give an end to what has none: hours, or a place at which it ends."""
    if until.key in ("", "open", "cause_found"):
        return Until(key, hours)
    if until.hours is None:
        return Until(until.key, hours)
    return until
