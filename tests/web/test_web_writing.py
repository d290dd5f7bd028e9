"""Notes, repairs and settings: what is sent is in the book once, and nothing typed is lost."""

from __future__ import annotations

import json
import threading
from pathlib import Path

import pytest
from tests.command_line import call, faults_of
from tests.web.pages import JSON, OUR_PAGE, Inside, Pages

from shearbolt.app.notes import understand
from shearbolt.web.keys import KEPT_S, Answer, Forms, NotSure, UsedBefore, new_key

JPEG = b"\xff\xd8\xff\xe0" + bytes(200)


def notes(book: Path, which: str = "Grey") -> list[str]:
    document = call(book, "machine", which, "--json").done()
    return [one["words"] for one in document["visits"] if one["kind"] == "by_hand"]


def repairs(book: Path) -> list[dict[str, object]]:
    found: list[dict[str, object]] = call(book, "machine", "Grey", "--json").done()["repairs"]
    return found


def test_a_note_leads_to_its_fault(pages: Pages) -> None:
    form = pages.machine() + "/note"
    fields = {"text": "SPN 110 FMI 0", "hours": "5,910.5 h", "who": "Nan", "key": pages.key(form)}
    status, to, _ = pages.sent(form, fields)
    assert status == 303
    shown = Inside(pages.shown(to)).text
    assert "It is written down." in shown
    assert "Engine coolant temperature" in shown
    # The code joins the fault that the bus told of.
    assert to.split("?")[0] == pages.fault("coolant temperature")
    assert 'value="Nan"' in pages.shown(form)


def test_a_tap_is_enough(pages: Pages) -> None:
    form = pages.machine() + "/note"
    status, to, _ = pages.sent(form, {"quick": "Black smoke", "key": pages.key(form)})
    assert status == 303
    assert "Black smoke" in Inside(pages.shown(to)).text


def test_an_event_leads_to_the_machine(pages: Pages) -> None:
    form = pages.machine() + "/note"
    status, to, _ = pages.sent(form, {"text": "washed", "key": pages.key(form)})
    assert (status, to) == (303, pages.machine() + "?done=event")


def test_every_tap_is_understood(read_pages: Pages) -> None:
    form = read_pages.machine() + "/note"
    taps = [
        attributes["value"]
        for tag, attributes in Inside(read_pages.shown(form)).elements
        if tag == "input" and attributes.get("name") == "quick"
    ]
    assert len(taps) >= 10
    for tap in taps:
        assert tap is not None
        understood = understand(tap)
        assert (understood.kind, understood.words) == ("symptom", tap)


def test_what_is_not_understood_comes_back_with_all_that_was_typed(pages: Pages) -> None:
    form = pages.machine() + "/note"
    typed = {"text": "zzz qqq", "hours": "12", "doing": "on the headland", "who": "Nan"}
    status, _, html = pages.sent(form, {**typed, "key": pages.key(form)})
    assert status == 422
    for value in typed.values():
        assert f'value="{value}"' in html
    shown = Inside(html).text
    assert "neither a code nor a symptom" in shown
    assert "--as" not in shown
    assert ("details", {"class": "field", "open": None, "data-opens": "text"}) in Inside(
        html
    ).elements
    assert "zzz qqq" not in notes(pages.book)
    status, to, _ = pages.sent(form, {**typed, "own_words": "symptom", "key": pages.key(form)})
    assert status == 303
    assert "Zzz qqq" in pages.shown(to)


def test_each_trouble_stands_beside_its_field(pages: Pages) -> None:
    form = pages.machine() + "/note"
    before = notes(pages.book)
    key = pages.key(form)
    wrong: tuple[tuple[dict[str, str], str], ...] = (
        ({"text": ""}, "text"),
        ({"text": "x" * 501}, "text"),
        ({"text": "washed", "hours": "often"}, "hours"),
        ({"text": "washed", "hours": "-4"}, "hours"),
        ({"text": "washed", "hours": "9e99"}, "hours"),
        ({"text": "washed", "when": "yesterday"}, "when"),
    )
    for fields, field in wrong:
        answer = pages.post(form, data={**fields, "key": key}, headers=JSON)
        assert answer.status_code == 422
        assert list(answer.json()["problems"]) == [field]
        assert answer.json()["problems"][field].endswith(".")
    assert notes(pages.book) == before


def test_a_note_kept_on_a_phone_keeps_its_own_time(pages: Pages) -> None:
    form = pages.machine() + "/note"
    fields = {"text": "P0217", "written_at": "2026-05-17T10:00:00.000Z", "key": pages.key(form)}
    assert pages.sent(form, fields)[0] == 303
    visits = call(pages.book, "machine", "Grey", "--json").done()["visits"]
    assert "2026-05-17T10:00:00.000000Z" in [one["start"] for one in visits]


def test_a_picture_is_kept_and_anything_else_is_not(pages: Pages) -> None:
    form = pages.machine() + "/note"
    fields = {"text": "SPN 111 FMI 1", "key": pages.key(form)}
    answer = pages.post(
        form, data=fields, files={"photo": ("..\\..\\dash.jpg", JPEG)}, headers=OUR_PAGE
    )
    assert answer.status_code == 303
    kept = [one for one in (pages.book / "attachments").rglob("*") if one.is_file()]
    assert [one.read_bytes() for one in kept] == [JPEG]
    answer = pages.post(
        form, data={"text": "SPN 111 FMI 1"}, files={"photo": ("a.jpg", b"MZ" + JPEG)}, headers=JSON
    )
    assert answer.status_code == 422
    assert list(answer.json()["problems"]) == ["photo"]
    assert list((pages.book / "page" / "arriving").iterdir()) == []


def test_a_form_sent_twice_does_its_work_once(pages: Pages) -> None:
    form = pages.machine() + "/note"
    fields = {"text": "SPN 111 FMI 1", "key": pages.key(form)}
    first = pages.sent(form, fields)
    assert first[0] == 303
    assert pages.sent(form, fields)[:2] == first[:2]
    assert pages.post(form, data=fields, headers=JSON).json() == {"to": first[1]}
    assert notes(pages.book).count("SPN 111 FMI 1") == 1
    # The server is started anew: the form is still remembered.
    with Pages(pages.book) as later:
        assert later.sent(form, fields)[:2] == first[:2]
    assert notes(pages.book).count("SPN 111 FMI 1") == 1


def test_two_taps_at_once_do_the_work_once(pages: Pages) -> None:
    form = pages.machine() + "/repair"
    fields = {"text": "New thermostat", "hours": "130", "key": pages.key(form)}
    found: list[tuple[int, str]] = []
    ready = threading.Barrier(4)

    def tap() -> None:
        ready.wait()
        found.append(pages.sent(form, fields)[:2])

    threads = [threading.Thread(target=tap) for _ in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert set(found) == {(303, pages.machine() + "?done=repair")}
    assert len(repairs(pages.book)) == 1


def test_two_people_at_once_lose_nothing(pages: Pages) -> None:
    form = pages.machine() + "/repair"
    texts = [f"Hose {n} changed" for n in range(6)]
    keys = [pages.key(form) for _ in texts]
    ready = threading.Barrier(len(texts))

    def work(text: str, key: str) -> None:
        ready.wait()
        assert pages.sent(form, {"text": text, "hours": "130", "key": key})[0] == 303

    threads = [threading.Thread(target=work, args=one) for one in zip(texts, keys, strict=True)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(str(one["text"]) for one in repairs(pages.book)) == texts
    shown = Inside(pages.shown(pages.machine())).text
    assert all(text in shown for text in texts)


def test_other_words_under_a_used_key_are_not_swallowed(pages: Pages) -> None:
    form = pages.machine() + "/note"
    key = pages.key(form)
    assert pages.sent(form, {"text": "SPN 111 FMI 1", "key": key})[0] == 303
    status, _, html = pages.sent(form, {"text": "SPN 97 FMI 0", "key": key})
    assert status == 409
    assert 'value="SPN 97 FMI 0"' in html
    assert "sent before with other words" in Inside(html).text
    assert pages.fault("oolant level") in html
    answer = pages.post(form, data={"text": "SPN 97 FMI 0", "key": key}, headers=JSON)
    assert answer.status_code == 409
    fresh = answer.json()["key"]
    assert fresh != key
    assert pages.sent(form, {"text": "SPN 97 FMI 0", "key": fresh})[0] == 303
    assert {"SPN 111 FMI 1", "SPN 97 FMI 0"} <= set(notes(pages.book))


@pytest.mark.parametrize("key", ["", "short", "../../../etc/passwd", "x" * 65, "ä" * 30])
def test_a_form_without_a_key_of_its_own_is_refused(pages: Pages, key: str) -> None:
    form = pages.machine() + "/repair"
    status, _, html = pages.sent(form, {"text": "x", "hours": "1", "key": key})
    assert status == 422
    assert "no key of its own" in html
    assert repairs(pages.book) == []


def test_a_repair_is_filed_for_what_was_ticked(pages: Pages) -> None:
    fault = pages.fault("coolant temperature").rsplit("/", 1)[-1]
    form = f"{pages.machine()}/repair?fault={fault}"
    ticked = [
        attributes
        for tag, attributes in Inside(pages.shown(form)).elements
        if tag == "input" and attributes.get("value") == fault
    ]
    assert "checked" in ticked[0]
    fields = {"text": "New thermostat", "hours": "130,5", "date": "2026-05-18", "fault": fault}
    status, to, _ = pages.sent(form.split("?")[0], {**fields, "key": pages.key(form)})
    assert status == 303
    shown = Inside(pages.shown(to)).text
    assert "The repair is in the book." in shown
    assert "New thermostat" in shown
    filed = repairs(pages.book)[0]
    assert (filed["hours"], filed["faults"]) == (130.5, [fault])
    assert filed["date"] == "2026-05-18T00:00:00.000000Z"
    assert "New thermostat" in Inside(pages.shown(pages.fault("coolant temperature"))).text


def test_a_repair_needs_words_and_hours(pages: Pages) -> None:
    form = pages.machine() + "/repair"
    answer = pages.post(form, data={"key": pages.key(form)}, headers=JSON)
    assert set(answer.json()["problems"]) == {"text", "hours"}
    status, _, html = pages.sent(form, {"text": "x", "hours": "1", "fault": "fnone",
                                        "key": pages.key(form)})  # fmt: skip
    assert status == 422
    assert "has no fault" in html


def test_a_symptom_is_not_said_to_be_on(pages: Pages) -> None:
    lift = [one for one in faults_of(pages.book) if one["kind"] == "symptom"]
    assert [one["state"] for one in lift] == ["active"]
    shown = Inside(pages.shown(f"/faults/{lift[0]['fault']}")).text
    assert "nobody has said that it is over" in shown


def test_units_are_those_of_the_person(pages: Pages) -> None:
    fields = {"units": "us", "name": "", "glove": "off"}
    assert pages.sent("/settings", fields)[:2] == (303, "/settings?saved")
    assert "Kept." in pages.shown("/settings?saved")
    checked = [
        attributes.get("value")
        for tag, attributes in Inside(pages.shown("/settings")).elements
        if tag == "input" and "checked" in attributes
    ]
    assert checked == ["us", "off"]


class Work:
    """Work that counts how often it was done."""

    def __init__(self) -> None:
        self.done = 0

    def __call__(self) -> Answer:
        """Do it."""
        self.done += 1
        return {"to": f"/done/{self.done}", "shown": None}


def test_a_form_that_was_stopped_half_way_says_so(tmp_path: Path) -> None:
    forms = Forms(tmp_path, lambda: 0.0)
    key = new_key()

    def stopped() -> Answer:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        forms.once(key, "a", stopped)
    work = Work()
    with pytest.raises(NotSure):
        Forms(tmp_path, lambda: 0.0).once(key, "a", work)
    assert work.done == 0


def test_the_memory_of_forms_ends_and_is_whole(tmp_path: Path) -> None:
    clock = [0.0]
    forms = Forms(tmp_path / "forms", lambda: clock[0])
    key, work = new_key(), Work()
    assert forms.answer(key) is None
    assert forms.once(key, "a", work) == forms.once(key, "a", work)
    with pytest.raises(UsedBefore) as used:
        forms.once(key, "b", work)
    assert used.value.to == "/done/1"
    assert work.done == 1
    kept = list((tmp_path / "forms").iterdir())
    assert [one.suffix for one in kept] == [".json"]
    assert json.loads(kept[0].read_text())["answer"]["to"] == "/done/1"
    assert key not in kept[0].name
    clock[0] = kept[0].stat().st_mtime + KEPT_S - 1
    forms.forget_old()
    assert forms.answer(key) is not None
    clock[0] += 2
    forms.forget_old()
    assert forms.answer(key) is None
