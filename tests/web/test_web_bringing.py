"""Recordings brought in through the page, and how what is sent is read."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from python_multipart import MultipartParser
from tests.bus_traffic import Bus
from tests.command_line import call
from tests.small_yard import MAY, NAMES
from tests.web.pages import COOLANT, JSON, NOW, OUR_PAGE, Inside, Pages

from shearbolt.recordings.writing import write_candump
from shearbolt.web.forms import NotThis, read_hours, read_instant
from shearbolt.web.uploads import (
    LONGEST_FIELD,
    File,
    _Reader,
    is_picture,
    safe_name,
    set_age,
    sweep,
)


def recording(path: Path, day: int) -> Path:
    """Write ten seconds of the grey one running hot."""
    bus = Bus()
    for address, name in NAMES.items():
        bus.claim(0.1, address, name)
    bus.alive(0, 10, *NAMES)
    bus.dm1_each(0.5, 10, *COOLANT, lamps=0x04)
    frames = bus.frames
    frames.time_us[:] += MAY + day * 86_400_000_000
    write_candump(path, frames)
    return path


def visits(book: Path) -> list[dict[str, object]]:
    found: list[dict[str, object]] = call(book, "machine", "Grey", "--json").done()["visits"]
    return found


def test_recordings_are_brought_in_and_summed_up(pages: Pages, tmp_path: Path) -> None:
    files = [recording(tmp_path / f"{day}.log", day) for day in (4, 5)]
    before = len(visits(pages.book))
    sent = {"key": pages.key("/bring")}
    answer = pages.post(
        "/bring",
        data=sent,
        files=[("files", (one.name, one.read_bytes())) for one in files]
        + [("files", ("notes.txt", b"not a recording at all\n"))],
        headers=OUR_PAGE,
    )
    assert answer.status_code == 303
    to = answer.headers["location"]
    shown = Inside(pages.shown(to)).text
    assert "Grey" in shown
    assert "notes.txt" in shown
    assert "4.log" in shown
    assert str(pages.book) not in shown
    assert len(visits(pages.book)) == before + 2
    # The same form again, after the answer was lost.
    again = pages.post(
        "/bring",
        data=sent,
        files=[("files", (one.name, one.read_bytes())) for one in files]
        + [("files", ("notes.txt", b"not a recording at all\n"))],
        headers=OUR_PAGE,
    )
    assert again.headers["location"] == to
    # The same recordings in another form change nothing, and it is said.
    known = pages.post(
        "/bring",
        data={"key": pages.key("/bring")},
        files=[("files", (files[0].name, files[0].read_bytes()))],
        headers=OUR_PAGE,
    )
    assert "in the book already" in Inside(pages.shown(known.headers["location"])).text
    assert len(visits(pages.book)) == before + 2
    assert list((pages.book / "page" / "arriving").iterdir()) == []


def test_a_folder_of_this_computer_is_taken_whole(pages: Pages, tmp_path: Path) -> None:
    card = tmp_path / "card"
    card.mkdir()
    for day in (6, 7):
        recording(card / f"{day}.log", day)
    before = len(visits(pages.book))
    fields = {"folder": f"  {card} ", "key": pages.key("/bring")}
    answer = pages.post("/bring", data=fields, headers=JSON)
    assert answer.status_code == 200
    assert "Grey" in pages.shown(answer.json()["to"])
    assert len(visits(pages.book)) == before + 2
    assert sorted(one.name for one in card.iterdir()) == ["6.log", "7.log"]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "Choose files"),
        ({"folder": "card"}, "whole path"),
        ({"folder": "/nowhere/at/all"}, "There is no"),
    ],
)
def test_nothing_to_bring_is_told(pages: Pages, fields: dict[str, str], words: str) -> None:
    answer = pages.post("/bring", data={**fields, "key": pages.key("/bring")}, headers=JSON)
    assert answer.status_code == 422
    assert words in answer.json()["problems"][""]


def test_what_is_no_recording_is_refused_by_its_name(pages: Pages) -> None:
    answer = pages.post(
        "/bring",
        data={"key": pages.key("/bring")},
        files={"files": ("../../evil.log", b"MZ\x00\x01 nothing of a bus" * 30)},
        headers=JSON,
    )
    assert answer.status_code == 422
    said = answer.json()["problems"][""]
    assert "evil.log" in said
    assert "arriving" not in said


def test_fields_of_a_recording_are_checked(pages: Pages) -> None:
    answer = pages.post(
        "/bring",
        data={"key": pages.key("/bring"), "hours": "many", "start": "soon"},
        files={"files": ("a.log", b"x")},
        headers=JSON,
    )
    assert set(answer.json()["problems"]) == {"hours", "start"}


def test_a_full_disk_is_told_before_anything_is_read(
    pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = pages.key("/bring")
    usage = shutil.disk_usage(pages.book)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=1000))
    answer = pages.post("/bring", data={"key": key}, files={"files": ("a.log", b"x")}, headers=JSON)
    assert answer.status_code == 422
    assert "too full" in answer.json()["sentence"]


def test_a_file_keeps_the_age_that_its_sender_told(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"x")
    one = File("a", path, 1, "")
    set_age(one, "1747200000000")
    assert path.stat().st_mtime == 1747200000
    # 'Now' would be a wrong date for a recording that has none of its own.
    for told in ("", "never", "-5", "1e400", "nan"):
        set_age(one, told)
        assert path.stat().st_mtime == 0


def test_what_the_power_left_behind_is_swept_away(tmp_path: Path) -> None:
    for name, age_s in (("sent-old", 90_000), ("sent-new", 60), ("other", 90_000)):
        (tmp_path / name).mkdir()
        os.utime(tmp_path / name, (1_000_000 - age_s, 1_000_000 - age_s))
    sweep(tmp_path, 1_000_000)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["other", "sent-new"]


@given(st.text(max_size=300), st.integers(0, 500))
def test_a_safe_name_stays_in_its_folder(told: str, place: int) -> None:
    name = safe_name(told, place)
    assert name
    assert len(name) <= 120
    assert name not in (".", "..")
    assert not set(name) & set('/\\<>:"|?*\0\n')
    assert Path("/folder", name).parent == Path("/folder")


def test_a_safe_name_still_says_what_it_is() -> None:
    assert safe_name("C:\\card\\maize evening.log.gz", 0) == "maize evening.log.gz"
    assert safe_name("../../../etc/passwd", 0) == "passwd"
    assert safe_name("...", 3) == "recording-4"
    assert safe_name("a" * 300 + ".blf", 0).endswith("a.blf")


FIELD = st.text(st.characters(codec="utf-8", exclude_characters="\r\n"), max_size=60)


@given(
    st.lists(FIELD, max_size=4),
    st.lists(st.binary(min_size=1, max_size=400), max_size=4),
    st.integers(1, 97),
)
def test_a_form_reads_the_same_however_it_is_cut(
    fields: list[str], files: list[bytes], step: int
) -> None:
    boundary = b"cut-here-7391"
    body = b"".join(
        b'--%b\r\nContent-Disposition: form-data; name="f"\r\n\r\n%b\r\n' % (boundary, one.encode())
        for one in fields
    ) + b"".join(
        b'--%b\r\nContent-Disposition: form-data; name="u"; filename="n%d.log"\r\n'
        b"Content-Type: application/octet-stream\r\n\r\n%b\r\n" % (boundary, i, one)
        for i, one in enumerate(files)
        if b"--" + boundary not in one
    )
    body += b"--%b--\r\n" % boundary
    with tempfile.TemporaryDirectory() as folder:
        reader = _Reader(Path(folder))
        parser = MultipartParser(boundary, reader.callbacks())
        for at in range(0, len(body), step):
            parser.write(body[at : at + step])
        parser.finalize()
        sent = reader.sent
        assert sent.fields.get("f", []) == fields
        got = sent.files.get("u", [])
        assert [one.path.read_bytes() for one in got] == files
        assert [one.sha256 for one in got] == [hashlib.sha256(one).hexdigest() for one in files]


@given(st.binary(max_size=300))
def test_no_bytes_break_the_page(made_pages: Pages, body: bytes) -> None:
    headers = {**OUR_PAGE, "content-type": "multipart/form-data; boundary=b"}
    answer = made_pages.post("/settings", content=b"--b\r\n" + body, headers=headers)
    assert answer.status_code in (303, 422)


@pytest.fixture(scope="module")
def made_pages(read_pages: Pages) -> Pages:
    """The pages, for a test of many examples."""
    return read_pages


def test_a_field_without_end_is_refused(pages: Pages) -> None:
    headers = {**OUR_PAGE, "content-type": "multipart/form-data; boundary=b"}
    body = b'--b\r\nContent-Disposition: form-data; name="x"\r\n\r\n' + b"y" * (LONGEST_FIELD + 1)
    answer = pages.post("/settings", content=body + b"\r\n--b--\r\n", headers=headers)
    assert answer.status_code == 422
    broken = b'--b\r\nContent-Disposition: form-data; name="x"\r\n\r\nhalf'
    assert pages.post("/settings", content=broken, headers=headers).status_code == 422


@pytest.mark.parametrize(
    ("head", "picture"),
    [
        (b"\xff\xd8\xff\xe1", True),
        (b"\x89PNG\r\n\x1a\n", True),
        (b"RIFF\x10\0\0\0WEBPVP8 ", True),
        (b"\0\0\0\x18ftypheic", True),
        (b"RIFF\x10\0\0\0WAVEfmt ", False),
        (b"<svg onload=x>", False),
        (b"", False),
    ],
)
def test_pictures_are_told_by_their_first_bytes(tmp_path: Path, head: bytes, picture: bool) -> None:
    (tmp_path / "p").write_bytes(head)
    assert is_picture(tmp_path / "p") is picture


@pytest.mark.parametrize(
    ("typed", "hours"),
    [
        ("", None), ("5910", 5910.0), ("5910.5 h", 5910.5), ("5,910.5", 5910.5), ("5910,5", 5910.5),
        ("12 487", 12487.0), ("0", 0.0), (" 7H ", 7.0),
    ],
)  # fmt: skip
def test_hours_are_read_as_people_write_them(typed: str, hours: float | None) -> None:
    assert read_hours(typed) == hours


@given(st.text(max_size=30))
def test_no_typed_hours_or_time_break_the_form(typed: str) -> None:
    with suppress(NotThis):
        hours = read_hours(typed)
        assert hours is None or 0 <= hours <= 200_000
    with suppress(NotThis):
        read_instant(typed, NOW)


def test_a_day_stands_for_itself_and_a_moment_for_its_zone() -> None:
    assert read_instant("2026-05-14", NOW) == 1_778_716_800_000_000
    assert read_instant("2026-05-14T06:12", NOW) == 1_778_739_120_000_000
    assert read_instant("2026-05-14T06:12:00+02:00", NOW) == 1_778_731_920_000_000
