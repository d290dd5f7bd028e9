"""Pictures at their own addresses: drawn for the width asked for, each with its table."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from tests.made_documents import machine_document, visit_brief
from tests.made_faults import fault, reasoned_fault
from tests.web.pages import Inside, Pages
from tests.web.test_web_views import LOOK, fault_document

from shearbolt.web.view_fault import fault_shown

NAMES = ("spell", "conditions", "life", "odds")


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_of_a_fault_is_drawn(read_pages: Pages, name: str) -> None:
    address = f"{read_pages.fault('coolant temperature')}/picture/{name}"
    answer = read_pages.get(f"{address}.svg?w=328")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("image/svg+xml")
    drawn = ElementTree.fromstring(answer.text)
    assert drawn.attrib["viewBox"].split()[2].startswith("328")
    assert "style" not in answer.text
    page = read_pages.shown(address)
    assert f'src="{address}.svg' in page
    table = read_pages.shown(f"{address}/table")
    # The table alone is a piece of the page, and says the same.
    assert "<html" not in table
    assert Inside(table).text in Inside(page).text


def test_odd_widths_do_no_harm(read_pages: Pages) -> None:
    address = f"{read_pages.fault('coolant temperature')}/picture/odds.svg"
    for width in ("", "0", "-4", "9" * 400, "wide", "99999", "٣٢٨"):
        assert read_pages.get(address, params={"w": width}).status_code == 200
    for name in ("nothing", "soot", "../spell"):
        assert read_pages.get(address.replace("odds", name)).status_code == 404
    assert read_pages.get("/faults/fnone/picture/odds.svg").status_code == 404


def test_soot_is_a_picture_of_a_machine(read_pages: Pages) -> None:
    machine = read_pages.machine()
    assert f'src="{machine}/picture/soot.svg' in read_pages.shown(machine)
    answer = read_pages.get(f"{machine}/picture/soot.svg")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    # This one tells none, which the picture says.
    assert "no soot load" in answer.text
    assert "no soot load" in read_pages.shown(f"{machine}/picture/soot/table")
    assert read_pages.get(f"{machine}/picture/spell.svg").status_code == 404


def test_each_picture_on_a_page_has_its_words_and_its_table(read_pages: Pages) -> None:
    html = read_pages.shown(read_pages.fault("coolant temperature"))
    images = [attributes for tag, attributes in Inside(html).elements if tag == "img"]
    assert len(images) >= 3
    for one in images:
        assert one["alt"]
        source = one["src"]
        assert source is not None
        address = source.split(".svg")[0]
        assert f'data-table="{address}/table"' in html
        # Without scripts a link leads to it.
        assert re.search(f'class="go" href="{address}"', html)


def test_a_picture_with_nothing_to_show_is_left_out() -> None:
    written = fault(spells=[], kind="symptom")
    shown = fault_shown(fault_document(**written), machine_document(visits=[]), LOOK)
    assert shown.pictures == frozenset()
    looks = [visit_brief(visit="v5t8"), visit_brief(visit="v9")]
    whole = fault_document(**reasoned_fault(root=None))
    shown = fault_shown(whole, machine_document(visits=looks), LOOK)
    assert shown.pictures == frozenset(NAMES)
    by_hand = [{**one, "kind": "by_hand"} for one in looks]
    shown = fault_shown(whole, machine_document(visits=by_hand), LOOK)
    assert shown.pictures == {"life", "odds"}
