"""Advice over any lamps, readings and kinds: never below what lamps and readings ask, and whole."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.advised import machine_advised
from tests.made_cases import NOTHING, fault, machine, running, spell, stopped, told, visit

from shearbolt.app.composing.advice_words import advice_document
from shearbolt.dictionary.advice_kinds import CLASSES, AdviceClass, kind_of_code
from shearbolt.model.fault import Lamps
from shearbolt.model.state import StateTable
from shearbolt.reasoning.advice import Advice, Now

LAMP = st.sampled_from((None, "off", "on", "slow", "fast"))
LAMPS = st.builds(Lamps, LAMP, LAMP, LAMP, LAMP)
SPNS = st.sampled_from(
    (70, 84, 91, 97, 100, 102, 105, 110, 111, 158, 168, 177, 190, 191, 520, 521, 597, 627, 639,
     1087, 1569, 1713, 1761, 1807, 1856, 1873, 2011, 3242, 3516, 3719, 5246, 9999, 521000, 524020)
)  # fmt: skip
FMIS = st.integers(0, 31)
LIT = ("on", "slow", "fast")
LATER = Now(None, None)


def rank(advice: AdviceClass) -> int:
    return CLASSES.index(advice)


def advised(spn: int, fmi: int, shown: Lamps, state: StateTable, length_s: int = 300) -> Advice:
    one = fault("f", spn, fmi)
    seen = told(one, spell(100, 100 + length_s), shown=shown)
    return machine_advised(machine([visit(0, seen, state=state)], [one]), now=LATER).by_fault["f"]


@settings(max_examples=150, deadline=None)
@given(SPNS, FMIS, LAMPS, st.sampled_from(("running", "unknown")))
def test_never_below_the_lamps(spn: int, fmi: int, shown: Lamps, engine: str) -> None:
    found = advised(spn, fmi, shown, running() if engine == "running" else NOTHING)
    if shown.red_stop in LIT:
        assert found.advice == "stop_now"
    if shown.amber_warning == "fast" or shown.mil == "fast":
        assert rank(found.advice) >= rank("finish_gently")
    if shown.amber_warning in LIT or shown.mil in LIT:
        assert rank(found.advice) >= rank("keep_working")


@settings(max_examples=100, deadline=None)
@given(SPNS, FMIS, LAMPS, st.sampled_from(("running", "standing", "unknown")), st.integers(1, 400))
def test_every_advice_is_whole(
    spn: int, fmi: int, shown: Lamps, engine: str, length_s: int
) -> None:
    state = {"running": running(), "standing": stopped(), "unknown": NOTHING}[engine]
    found = advised(spn, fmi, shown, state, length_s)
    kind = kind_of_code(spn, fmi)
    assert rank(found.advice) >= rank(kind.floor)
    if found.advice == "stop_now":
        assert found.place
        assert found.engine is not None or found.place == "do_not_start"
    if found.advice == "finish_gently":
        assert found.watch is not None
    if found.advice != "note_only":
        assert found.until.key != "open"
    if found.advice in ("finish_gently", "keep_working"):
        assert found.until.hours is not None
    document = advice_document(found)
    assert document["words"].endswith(".")
    assert all(one.endswith(".") for one in (*document["because"], *document["cautions"]))


@settings(max_examples=60, deadline=None)
@given(LAMPS, LAMPS, SPNS, FMIS)
def test_more_lamps_never_calm(one: Lamps, other: Lamps, spn: int, fmi: int) -> None:
    both = Lamps(
        *(
            max((a, b), key=lambda lamp: ("off", "on", "slow", "fast").index(lamp or "off"))
            for a, b in (
                (one.mil, other.mil),
                (one.red_stop, other.red_stop),
                (one.amber_warning, other.amber_warning),
                (one.protect, other.protect),
            )
        )
    )
    table = running()
    least = max(rank(advised(spn, fmi, lamps, table).advice) for lamps in (one, other))
    assert rank(advised(spn, fmi, both, table).advice) >= least


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from((100, 110, 111, 175, 177, 168, 1087, 3242, 101)),
    st.sampled_from((0, 1, 2, 15, 16, 17, 18, 31)),
    st.sampled_from(
        (
            ("coolant_c", 70.0, 140.0), ("oil_kpa", 0.0, 500.0), ("oil_c", 60.0, 180.0),
            ("battery_v", 11.0, 17.0), ("dpf_in_c", 200.0, 1000.0), ("transmission_c", 50.0, 160.0),
            ("brake_air_1_kpa", 100.0, 900.0), ("coolant_level_pct", 0.0, 100.0),
        )
    ),
    st.floats(0.0, 1.0),
)  # fmt: skip
def test_a_reading_never_calms(
    spn: int, fmi: int, reading: tuple[str, float, float], at: float
) -> None:
    quantity, low, high = reading
    value = low + at * (high - low)
    shown = Lamps("off", "off", "on", "off")
    without = advised(spn, fmi, shown, running())
    assert rank(advised(spn, fmi, shown, running(columns={quantity: value})).advice) >= rank(
        without.advice
    )
