"""Company over any faults: roots exist, point at the root itself, never in a circle."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.made_cases import fault, machine, running, spell, told, visit

from shearbolt.model.fault import Spell
from shearbolt.reasoning.between import between_visits
from shearbolt.reasoning.case import FaultInVisit, MachineCase
from shearbolt.reasoning.company import Link, Weight, company_of, first_to_look
from shearbolt.reasoning.company.together import _resolve

SPNS = (110, 100, 102, 157, 3509, 620, 158, 168, 627, 639, 2003, 190, 1569, 3644, 5246, 1761, 3719)
FMIS = (0, 1, 2, 3, 4, 9, 15, 16, 17, 18, 19, 31)


@st.composite
def cases(draw: st.DrawFn) -> MachineCase:
    codes = draw(
        st.lists(
            st.tuples(st.sampled_from(SPNS), st.sampled_from(FMIS), st.sampled_from((0, 3, 49))),
            min_size=1,
            max_size=9,
            unique=True,
        )
    )
    faults = [fault(f"f{i}", *code) for i, code in enumerate(codes)]
    visits = []
    for index in range(draw(st.integers(1, 3))):
        seen: list[FaultInVisit] = []
        for one in faults:
            starts = draw(st.lists(st.integers(5, 580), max_size=3, unique=True))
            spells: list[Spell] = []
            for i, at in enumerate(sorted(starts)):
                later = [other for other in starts if other > at]
                end = min([at + draw(st.integers(0, 60)), *(x - 1 for x in later)])
                known = bool(draw(st.booleans())) or i > 0
                count = draw(st.none() | st.integers(0, 126))
                spells.append(spell(at, max(at, end), known=known, count=count))
            remembered: bool = draw(st.booleans())
            if spells or remembered:
                seen.append(told(one, *spells))
        visits.append(visit(index, *seen, state=running()))
    return machine(visits, faults)


@settings(max_examples=40, deadline=None)
@given(cases())
def test_roots_are_roots(case: MachineCase) -> None:
    found = company_of(case)
    known = {one.fault for one in case.faults}
    for follower, root in found.roots.items():
        assert {follower, root} <= known
        assert follower != root
        assert root not in found.roots
    assert set(found.events) <= known
    sizes: dict[str, int] = {}
    for event in found.events.values():
        sizes[event] = sizes.get(event, 0) + 1
    assert all(size > 1 for size in sizes.values())


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.builds(
            Link,
            st.sampled_from("abcdef"),
            st.sampled_from("abcdef"),
            st.sampled_from(("worse_level", "supply", "cranking_dip", "lost_unit", "power_limit")),
            st.integers(1, 5),
            st.just(5),
            st.just("v0"),
            st.just(0),
        ),
        max_size=20,
    )
)
def test_any_links_make_no_circle(links: list[Link]) -> None:
    roots, kept = _resolve(links)
    assert all(root not in roots for root in roots.values())
    assert set(roots) == {one.follower for one in kept}
    assert roots == _resolve(list(reversed(links)))[0]


@settings(max_examples=40, deadline=None)
@given(cases())
def test_every_fault_has_its_place_in_the_order(case: MachineCase) -> None:
    company = company_of(case)
    weights = {
        one.fault: Weight("keep_working", True, False, i, 1) for i, one in enumerate(case.faults)
    }
    order = first_to_look(company, weights)
    assert sorted(order) == sorted(weights)
    for follower, root in company.roots.items():
        assert order.index(root) < order.index(follower)


@settings(max_examples=40, deadline=None)
@given(cases())
def test_bounds_between_visits_are_bounds(case: MachineCase) -> None:
    for found in between_visits(case).values():
        for one in found.unrecorded:
            assert one.at_least >= 0
            assert one.at_most is None or one.at_most >= one.at_least
            assert one.why
            if one.from_us is not None and one.to_us is not None:
                assert one.from_us <= one.to_us
