"""Who may ask: hosts, origins, sizes; what every answer carries; nothing typed becomes markup."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.datastructures import Headers
from tests.command_line import call
from tests.web.pages import HOST, OUR_PAGE, Inside, Pages

from shearbolt.web.guard import own_host, own_read, own_write
from shearbolt.web.site import Limits

GOOD_HOSTS = ["127.0.0.1", "127.0.0.1:8417", "localhost", "localhost:1", "[::1]:8417", "127.8.8.8"]
WRONG_HOSTS = [
    "", "evil.example", "evil.example:8417", "127.0.0.1.evil.example", "localhost.evil.example",
    "10.0.0.4", "192.168.1.7:8417", "user@127.0.0.1", "127.0.0.1:8417/x", "127.0.0.1 ",
    "127.0.0.1:99999", "[::1", "0.0.0.0", "2130706433",
]  # fmt: skip
ADDRESSES = ["/", "/note", "/bring", "/plug", "/plug/nine-round", "/settings", "/healthz"]


@pytest.mark.parametrize("host", GOOD_HOSTS)
def test_this_computer_is_known_by_its_names(host: str) -> None:
    assert own_host(host)


@pytest.mark.parametrize("host", WRONG_HOSTS)
def test_no_other_host_is_ours(host: str) -> None:
    assert not own_host(host)


@given(st.text(max_size=40))
def test_no_host_breaks_the_guard(host: str) -> None:
    if own_host(host):
        assert re.match(r"(?i)localhost|127\.|\[", host)


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_wrong_host_is_told_400(read_pages: Pages, address: str) -> None:
    for host in WRONG_HOSTS[1:5]:
        assert read_pages.get(address, headers={"host": host}).status_code == 400


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "null"},
        {"origin": "http://" + "evil.example"},
        {"origin": "http://" + "localhost:8417"},
        {"origin": "http://" + "127.0.0.1:8418"},
        {"origin": f"https://{HOST}"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none"},
        {"origin": f"http://{HOST}", "sec-fetch-site": "cross-site"},
    ],
)
def test_what_another_page_sends_is_told_403(pages: Pages, headers: dict[str, str]) -> None:
    before = pages.shown(pages.machine())
    for address in ("/bring", "/settings", pages.machine() + "/note", pages.machine() + "/repair"):
        answer = pages.post(address, data={"text": "won't crank"}, headers=headers)
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers
    assert pages.shown(pages.machine()) == before


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS"])
def test_other_methods_do_nothing(pages: Pages, method: str) -> None:
    assert pages.request(method, "/settings").status_code == 403
    assert pages.request(method, "/settings", headers=OUR_PAGE).status_code == 405


def test_our_own_page_may_write() -> None:
    assert own_write(Headers({"host": HOST, **OUR_PAGE}))
    assert own_write(Headers({"host": HOST, "origin": f"http://{HOST}"}))
    assert own_write(Headers({"host": HOST, "sec-fetch-site": "same-origin"}))


def test_another_site_may_link_here_and_not_look_into_a_page() -> None:
    link = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert own_read(Headers({**link, "sec-fetch-dest": "document"}))
    assert not own_read(Headers({**link, "sec-fetch-dest": "iframe"}))
    assert not own_read(Headers({"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}))
    assert own_read(Headers({}))


@pytest.mark.parametrize("address", [*ADDRESSES, "/nowhere", "/machines/mnone", "/faults/fnone"])
def test_every_answer_is_closed_to_others(read_pages: Pages, address: str) -> None:
    answer = read_pages.get(address)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    # 'no-referrer' would make browsers send the origin of our own forms as 'null'.
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-store"
    assert "server" not in answer.headers


def test_refusals_carry_the_same_headers(read_pages: Pages) -> None:
    answer = read_pages.get("/", headers={"host": "evil.example"})
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")


def every_page(pages: Pages) -> Iterator[str]:
    machine = pages.machine()
    inside = pages.shown(machine)
    yield from ("/", "/note", "/bring", "/plug", "/plug/sixteen-long", "/settings", machine)
    yield from (machine + "/note", machine + "/repair")
    yield from sorted(set(re.findall(r'"(/(?:faults|visits)/\w+)"', inside)))


def test_no_page_holds_inline_scripts_styles_or_other_hosts(read_pages: Pages) -> None:
    for address in every_page(read_pages):
        html = read_pages.shown(address)
        for tag, attributes in Inside(html).elements:
            assert tag not in ("style", "iframe", "object", "embed"), address
            assert not any(name.startswith("on") or name == "style" for name in attributes), address
            if tag == "script":
                assert (attributes.get("src") or "").startswith("/static/"), address
            for name in ("href", "src", "action"):
                value = attributes.get(name)
                assert value is None or re.match(r"(/(?!/)|#)", value), (address, value)


def test_static_files_are_kept_by_their_contents(read_pages: Pages) -> None:
    html = read_pages.shown("/")
    found = re.findall(r'"(/static/[^"]+)"', html)
    assert len(found) == 3
    for address in found:
        answer = read_pages.get(address)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["cache-control"]
    for address in ("/static/none.css", "/static/../site.py", "/static/%2e%2e%2fsite.py"):
        assert read_pages.get(address).status_code == 404


EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{ 7*191 }}"


def test_what_people_type_stays_text(pages: Pages) -> None:
    machine = pages.machine()
    assert call(pages.book, "rename", "Grey", EVIL).status == 0
    fields = {"text": EVIL, "own_words": "symptom", "who": EVIL, "doing": EVIL, "hours": "5"}
    status, to, _ = pages.sent(machine + "/note", {**fields, "key": pages.key(machine + "/note")})
    assert status == 303
    repaired = {"text": EVIL, "hours": "7", "key": pages.key(machine + "/repair")}
    assert pages.sent(machine + "/repair", repaired)[0] == 303
    assert pages.sent(machine + "/repair", {"text": EVIL, "hours": EVIL})[0] == 422
    for address in (*every_page(pages), to):
        html = pages.shown(address)
        assert "<img src=x" not in html, address
        assert "<script>alert" not in html, address
        assert "1337" not in Inside(html).text, address
        # The only pictures are ours, from addresses of ours, and do nothing else.
        for tag, attributes in Inside(html).elements:
            if tag == "img":
                told = dict(attributes)
                assert re.fullmatch(r"/[\w/-]+/picture/\w+\.svg(\?[\w=&]+)?", told["src"] or ""), (
                    address
                )
                assert not any(name.startswith("on") for name in told)


def test_settings_live_in_strict_cookies(pages: Pages) -> None:
    answer = pages.post(
        "/settings",
        data={"units": "us", "name": "Nan; \r\nSet-Cookie: a=b", "glove": "on"},
        headers=OUR_PAGE,
    )
    assert answer.status_code == 303
    cookies = answer.headers.get_list("set-cookie")
    assert len(cookies) == 3
    for one in cookies:
        assert "samesite=strict" in one.lower()
        assert "httponly" in one.lower()
    html = pages.shown("/settings")
    assert 'class="glove"' in html
    assert 'value="Nan; Set-Cookie: a=b"' in html
    assert "shearbolt_glove=on" in answer.headers["set-cookie"]


@pytest.mark.parametrize("cookie", ["%FF%00", "x" * 4000, "<b>", "%3Cscript%3E"])
def test_no_cookie_breaks_a_page(read_pages: Pages, cookie: str) -> None:
    answer = read_pages.get("/settings", headers={"cookie": f"shearbolt_name={cookie}"})
    assert answer.status_code == 200
    assert "<script>" not in answer.text


def test_too_much_is_told_413_by_what_it_says_and_by_what_comes(book: Path) -> None:
    limits = Limits(form=1000, picture=2000, recordings=5000)
    with Pages(book, limits=limits) as pages:
        machine = pages.machine()
        long = {"text": "x" * 3000}
        for address in (machine + "/note", machine + "/repair", "/settings"):
            assert pages.post(address, data=long, headers=OUR_PAGE).status_code == 413
        files = {"files": ("a.log", b"x" * 6000)}
        assert pages.post("/bring", files=files, headers=OUR_PAGE).status_code == 413

        def piecemeal() -> Iterator[bytes]:
            # No length is told beforehand.
            for _ in range(40):
                yield b"text=" + b"x" * 100

        headers = {**OUR_PAGE, "content-type": "application/x-www-form-urlencoded"}
        answer = pages.post("/settings", content=piecemeal(), headers=headers)
        assert answer.status_code == 413
        assert "at once" in answer.text
    assert list((book / "page" / "arriving").iterdir()) == []


def test_what_is_no_form_is_told_so(pages: Pages) -> None:
    for kind in ("application/json", "text/plain", "multipart/form-data", ""):
        headers = {**OUR_PAGE, "content-type": kind}
        answer = pages.post("/settings", content=b"{}", headers=headers)
        assert answer.status_code == 422
        assert "no form of ours" in answer.text


def test_errors_are_one_sentence(read_pages: Pages) -> None:
    for address in ("/nowhere", "/machines/mnone", "/visits/x", "/faults/fnone", "/plug/none"):
        html = read_pages.shown(address, 404)
        heading = re.search(r"<h1>(.*?)</h1>", html)
        assert heading is not None
        assert heading[1].endswith(".")
        assert "Traceback" not in html


def test_what_nobody_foresaw_is_one_sentence_too(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(*_: object, **__: object) -> None:
        raise KeyError("secret detail")

    with Pages(book, strict=False) as pages:
        monkeypatch.setattr("shearbolt.app.use_cases.yard", breaks)
        answer = pages.get("/")
    assert answer.status_code == 500
    assert "Something went wrong inside Shearbolt (KeyError)" in answer.text
    assert "secret detail" not in answer.text


def test_a_book_that_cannot_be_read_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "book").mkdir()
    (tmp_path / "book" / "book.sqlite").write_bytes(b"not a database at all" * 100)
    with Pages(tmp_path / "book") as pages:
        answer = pages.get("/")
    assert answer.status_code == 500
    assert answer.text.count("<h1>") == 1
