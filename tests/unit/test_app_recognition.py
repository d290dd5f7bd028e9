"""Which machine is it: by VIN, by NAMEs, by the person's word; parts of one recording."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from tests import bus_traffic as t
from tests.bus_traffic import Bus, content_of, name_of

from shearbolt.app.recognition import Known, Recognised, recognise, split
from shearbolt.app.wording import doubt_words
from shearbolt.book.records import Box, Machine
from shearbolt.model.controller import Name
from shearbolt.model.frames import frames_from
from shearbolt.model.visit import VisitContent

VIN_A, VIN_B = "AB1CD23E4FG567890", "ZZ9CD23E4FG567890"
ENGINE, GEARS, CAB = name_of(11, 0), name_of(12, 3), name_of(13, 19)
ENGINE_B, GEARS_B, CAB_B = name_of(21, 0), name_of(22, 3), name_of(23, 19)
BALER = name_of(31, 132, device_class=9, anywhere=True)
TOOL_NAME = name_of(99, 129, device_class=0)
LOGGER_NAME = name_of(98, 130, device_class=0)


def heard(
    *seats: tuple[int, Name | None], vins: Sequence[tuple[int, str]] = (), channel: str = "can0"
) -> Bus:
    """Let senders claim their addresses and live for a second; some tell a VIN."""
    bus = Bus(channel)
    for address, name in seats:
        if name is not None:
            bus.claim(0.1, address, name)
        bus.alive(0.2, 1.2, address)
    for i, (address, vin) in enumerate(vins):
        bus.tell(1.5 + i, t.VIN, address, vin.encode() + b"*")
    return bus


def known(name: str, *names: Name, vin: str | None = None) -> Known:
    """Make a machine of the book with boxes, each in a place of its own."""
    boxes = tuple(Box(f"c{i}", one, "v1", "v1", 1) for i, one in enumerate(names))
    return Known(Machine(f"m-{name}", name, True, None, vin, None, 0), (), boxes)


def first(
    content: VisitContent, fleet: Sequence[Known] = (), given: Known | None = None
) -> Recognised:
    """Recognise the main machine of a recording."""
    return recognise(split(content)[0], content, fleet, given)


def doubts(found: Recognised) -> list[str]:
    """Return the keys of its doubts; each makes a sentence."""
    for one in found.doubts:
        assert doubt_words(one)[-1] == "."
        assert "{" not in doubt_words(one)
    return [one.split("|")[0] for one in found.doubts]


GREY = known("grey", ENGINE, GEARS, CAB, vin=VIN_A)
RED = known("red", ENGINE_B, GEARS_B, CAB_B, vin=VIN_B)
NAMELESS = known("old", vin=None)


# -- one machine ----------------------------------------------------------------------------------


def test_a_machine_is_known_by_its_vin_and_by_its_names() -> None:
    bus = heard((0, ENGINE), (3, GEARS), vins=[(0, VIN_A)])
    found = first(bus.content(), [RED, GREY])
    assert found.known is GREY
    assert found.by == ("vin", "names")
    assert found.doubts == ()


def test_names_alone_are_enough() -> None:
    found = first(heard((0, ENGINE), (3, GEARS)).content(), [RED, GREY])
    assert (found.known, found.by, found.doubts) == (GREY, ("names",), ())


def test_a_vin_alone_is_enough() -> None:
    found = first(heard((0, None), vins=[(0, VIN_B)]).content(), [RED, GREY])
    assert (found.known, found.by, found.doubts) == (RED, ("vin",), ())


def test_an_unknown_machine_is_new() -> None:
    found = first(heard((0, name_of(77)), vins=[(0, "NEW")]).content(), [RED, GREY])
    assert (found.known, found.by, doubts(found)) == (None, ("new",), [])


def test_without_vin_and_names_it_cannot_be_recognised() -> None:
    found = first(heard((0, None), (3, None)).content(), [RED, GREY])
    assert (found.known, found.by, doubts(found)) == (None, ("new",), ["no_identity"])


def test_the_person_says_which_it_is() -> None:
    found = first(heard((0, None)).content(), [RED, GREY], GREY)
    assert (found.known, found.by, doubts(found)) == (GREY, ("given",), [])
    agreed = first(heard((0, ENGINE), vins=[(0, VIN_A)]).content(), [RED, GREY], GREY)
    assert (agreed.by, doubts(agreed)) == (("given", "vin", "names"), [])


def test_the_persons_word_against_the_bus_is_kept_and_doubted() -> None:
    by_vin = first(heard((0, ENGINE_B), vins=[(0, VIN_B)]).content(), [RED, GREY], GREY)
    assert (by_vin.known, by_vin.by) == (GREY, ("given",))
    assert doubts(by_vin) == ["vin_of_other"]
    by_names = first(heard((0, ENGINE_B), (3, GEARS_B)).content(), [RED, GREY], GREY)
    assert (by_names.known, doubts(by_names)) == (GREY, ["names_of_other"])
    # A vehicle identification that nobody knows, told for a machine that has another.
    new_vin = first(heard((0, ENGINE), vins=[(0, "NEW")]).content(), [GREY], GREY)
    assert (new_vin.known, new_vin.by) == (GREY, ("given", "names"))
    assert doubts(new_vin) == ["vin_changed"]


def test_one_changed_box_does_not_make_another_machine() -> None:
    swapped = name_of(4711, 3)
    found = first(heard((0, ENGINE), (3, swapped), (23, CAB)).content(), [RED, GREY])
    assert (found.known, found.by, doubts(found)) == (GREY, ("names",), [])


def test_one_box_moved_over_does_not_carry_its_old_machine_along() -> None:
    content = heard((0, ENGINE_B), (3, GEARS_B), (23, CAB)).content()
    found = first(content, [GREY, RED])
    assert found.known is RED
    assert doubts(found) == ["moved_unit"]
    assert doubt_words(found.doubts[0]).endswith(
        "belonged to grey before (a control unit moved over)."
    )
    # ... and a stranger with it is a new machine.
    new = first(heard((0, name_of(71)), (3, name_of(72, 3)), (23, CAB)).content(), [GREY, RED])
    assert new.known is None


def test_known_boxes_under_another_vin_are_another_machine() -> None:
    content = heard((0, ENGINE), (3, GEARS), vins=[(0, "NEW")]).content()
    found = first(content, [GREY])
    assert (found.known, found.by, doubts(found)) == (None, ("new",), ["boxes_of_other"])


def test_the_vin_wins_over_strange_boxes() -> None:
    found = first(heard((0, ENGINE_B), vins=[(0, VIN_A)]).content(), [GREY, RED])
    assert found.known is GREY
    assert doubts(found) == ["names_differ"]


@pytest.mark.parametrize(
    ("address", "name"),
    [(0xF9, TOOL_NAME), (0xF9, None), (0x80, TOOL_NAME), (0xFB, LOGGER_NAME), (0xFA, name_of(5))],
)
def test_a_tester_or_logger_identifies_nothing(address: int, name: Name | None) -> None:
    """The tool was plugged into the grey one; now it is plugged into a machine nobody knows."""
    fleet = [known("grey", ENGINE, *((name,) if name else ()), vin=VIN_A)]
    found = first(heard((0, name_of(51)), (address, name)).content(), fleet)
    assert (found.known, found.by) == (None, ("new",))
    alone = first(heard((0, None), (address, name)).content(), fleet)
    assert (alone.known, doubts(alone)) == (None, ["no_identity"])


def test_one_box_of_several_names_is_known_by_any() -> None:
    names = [name_of(11, function) for function in (0, 3, 19)]
    fleet = [known("grey", *names)]
    assert first(heard((3, names[1])).content(), fleet).known is fleet[0]


# -- several machines of one recording ------------------------------------------------------------


def test_an_implement_is_a_machine_of_its_own_on_any_tractor() -> None:
    baler = known("baler", BALER)
    for tractor, seats in ((GREY, (ENGINE, GEARS)), (RED, (ENGINE_B, GEARS_B))):
        content = heard((0, seats[0]), (3, seats[1]), (0x85, BALER)).content()
        main, implement = split(content)
        assert (main.implement, implement.implement) == (False, True)
        assert [content.controllers[i].address for i in implement.senders] == [0x85]
        assert recognise(main, content, [GREY, RED, baler], None).known is tractor
        found = recognise(implement, content, [GREY, RED, baler], None)
        assert (found.known, found.by) == (baler, ("names",))


def test_an_implement_alone_is_the_main_machine() -> None:
    (only,) = split(heard((0x85, BALER)).content())
    assert only.implement


def test_the_vin_of_an_implement_is_not_the_tractors() -> None:
    content = heard((0, ENGINE), (0x85, BALER), vins=[(0x85, "BALER-7"), (0, VIN_A)]).content()
    main, implement = split(content)
    assert (main.vin, implement.vin) == (VIN_A, "BALER-7")
    assert main.doubts == ()


def test_units_of_the_tractors_own_class_are_no_implement() -> None:
    hitch = name_of(61, 35, anywhere=True)
    assert len(split(heard((0, ENGINE), (0x90, hitch)).content())) == 1


def test_two_machines_on_two_channels() -> None:
    rows = [*heard((0, ENGINE), (3, GEARS)).rows, *heard((0, ENGINE_B), channel="can1").rows]
    content = content_of(frames_from(sorted(rows, key=lambda one: one.time_us)))
    main, other = split(content)
    assert recognise(main, content, [RED, GREY], None).known is GREY
    assert recognise(other, content, [RED, GREY], None).known is RED


def test_two_channels_of_one_machine_stay_together() -> None:
    """The implement bus has no engine; a box on both buses, or the VIN, ties them as well."""
    plain = [*heard((0, ENGINE)).rows, *heard((240, name_of(14, 30)), channel="can1").rows]
    shared = [
        *heard((0, ENGINE), (39, name_of(15, 30))).rows,
        *heard((1, name_of(16, 0)), (39, name_of(15, 30)), channel="can1").rows,
    ]
    by_vin = [
        *heard((0, ENGINE), vins=[(0, VIN_A)]).rows,
        *heard((0, ENGINE_B), vins=[(0, VIN_A)], channel="can1").rows,
    ]
    for rows in (plain, shared, by_vin):
        content = content_of(frames_from(sorted(rows, key=lambda one: one.time_us)))
        assert len(split(content)) == 1


def test_two_vins_on_one_channel_are_noticed() -> None:
    (part,) = split(heard((0, ENGINE), (3, GEARS), vins=[(0, VIN_A), (3, VIN_B)]).content())
    assert part.vin == VIN_A
    assert [one.split("|") for one in part.doubts] == [["two_vins", VIN_A, VIN_B]]


def test_two_boxes_that_claim_one_address_are_noticed() -> None:
    later = heard((0, ENGINE_B))
    later.claim(1.3, 0, ENGINE)
    (part,) = split(later.content())
    assert [one.split("|") for one in part.doubts] == [["two_holders", "0", "can0"]]


def test_nobody_heard_is_no_part() -> None:
    assert split(content_of(frames_from([]))) == ()
