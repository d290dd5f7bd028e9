"""The pages in a real Chromium: the journeys of the people who use them."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page
from tests.command_line import call
from tests.web.browser import DESK, PHONE, Hands, browser_of, chromium, hands, lose_answer, served
from tests.web.test_web_bringing import recording

AXE = (resources.files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SMALLEST_TEXT_PX = 18
SMALLEST_TARGET_PX = {False: 56, True: 120}
SMALLEST_VERDICT_PX = 28


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    program = chromium()
    if program is None:
        pytest.skip("there is no Chromium on this system")
    with browser_of(program) as found:
        yield found


@pytest.fixture(scope="module")
def looked_at(made_book: Path) -> Iterator[str]:
    """A site that tests only look at."""
    with served(made_book) as site:
        yield site


@pytest.fixture
def site(book: Path) -> Iterator[str]:
    """A site of the test's own."""
    with served(book) as site:
        yield site


@pytest.fixture
def phone(browser: Browser, site: str) -> Iterator[Hands]:
    with hands(browser, site, PHONE) as one:
        yield one
        assert one.troubles == []


def notes(book: Path) -> list[str]:
    document = call(book, "machine", "Grey", "--json").done()
    return [one["words"] for one in document["visits"] if one["kind"] == "by_hand"]


def test_a_lamp_came_on(phone: Hands, book: Path) -> None:
    page = phone.open("/")
    page.get_by_role("link", name="Grey").tap()
    page.get_by_role("link", name="A lamp came on").tap()
    page.get_by_label("What does the dash show?").fill("110-0")
    page.get_by_label("Hours on the meter").fill("131,5")
    page.get_by_label("Your name").fill("Nan")
    page.get_by_role("button", name="Put it in the book").tap()
    phone.see("It is written down.")
    assert "coolant temperature" in page.get_by_role("heading", level=1).inner_text()
    # The advice is there without scrolling.
    verdict = page.locator("#verdict").bounding_box()
    assert verdict is not None
    assert verdict["y"] + verdict["height"] < PHONE[1]
    assert notes(book)[-1] == "110-0"
    # The name is known from now on.
    page.goto(page.url.split("?")[0].replace(page.url.split("?")[0], phone.site + "/settings"))
    assert page.get_by_label("Your name").input_value() == "Nan"


def test_a_memory_card_becomes_a_summary(phone: Hands, tmp_path: Path) -> None:
    page = phone.open("/bring")
    page.locator("#files").set_input_files([recording(tmp_path / f"{n}.log", n) for n in (4, 5)])
    page.get_by_role("button", name="Bring them in").first.tap()
    page.wait_for_url("**/brought/*")
    assert page.locator("a.row", has_text="4.log").count() == 1
    page.locator("a.row", has_text="5.log").tap()
    page.get_by_role("heading", name="What this look told").wait_for()
    page.get_by_role("link", name="Engine coolant temperature").first.tap()
    page.locator("#verdict").wait_for()


def test_a_repair_stands_with_its_fault(phone: Hands) -> None:
    page = phone.open("/")
    page.get_by_role("link", name="Grey").tap()
    page.locator("a.row", has_text="Engine coolant temperature").first.tap()
    page.get_by_role("link", name="I repaired something for this").tap()
    page.get_by_role("button", name="Put it in the book").tap()
    phone.see("Write what was done.")
    # Chromium writes every refused form into its console.
    phone.troubles = [it for it in phone.troubles if "422" not in it]
    page.get_by_label("What was done").fill("New thermostat")
    page.get_by_label("Hours on the meter").fill("132")
    assert page.locator("input[name=fault]:checked").count() == 1
    page.get_by_role("button", name="Put it in the book").tap()
    phone.see("The repair is in the book.")
    entry = page.locator("li", has_text="New thermostat").first
    entry.get_by_role("link", name="Engine coolant temperature").tap()
    page.get_by_role("heading", name="Did it hold?").wait_for()


def test_a_check_moves_the_odds(phone: Hands) -> None:
    page = phone.open("/")
    page.get_by_role("link", name="Grey").tap()
    page.locator("a.row", has_text="Engine coolant temperature").first.tap()
    # The picture of its life is there, and its table comes when it is asked for.
    drawn = page.locator("img[src*='/picture/life']")
    drawn.scroll_into_view_if_needed()
    page.wait_for_function(
        "one => one.complete && one.naturalWidth > 0", arg=drawn.element_handle()
    )
    folded = page.locator("details[data-table$='/picture/life/table']")
    folded.locator("summary").tap()
    folded.locator("table tbody tr").first.wait_for()
    page.get_by_role("link", name="What did you find? Coolant level").tap()
    page.get_by_role("button", name="Put it in the book").tap()
    phone.see("Tap what came of it.")
    phone.troubles = [it for it in phone.troubles if "422" not in it]
    page.get_by_label("Too low").tap()
    page.get_by_role("button", name="Put it in the book").tap()
    page.get_by_role("heading", name="What is likelier now").wait_for()
    assert "Likeliest now: It is truly so" in page.locator("main").inner_text()
    assert page.locator("path.was").count() >= 2
    page.get_by_role("link", name="Back to the fault").tap()
    page.get_by_role("heading", name="What was checked").wait_for()


def test_the_keyboard_alone_is_enough(browser: Browser, site: str, book: Path) -> None:
    with hands(browser, site, DESK) as one:
        page = one.open("/")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.keyboard.press("Enter")
        tab_to(page, "Grey")
        page.keyboard.press("Enter")
        page.wait_for_url("**/machines/*")
        tab_to(page, "A lamp came on")
        page.keyboard.press("Enter")
        page.wait_for_url("**/note")
        tab_to(page, "", "text")
        page.keyboard.type("washed")
        page.keyboard.press("Enter")
        page.wait_for_url("**/machines/*done=event")
        assert "washed" in notes(book)
        # A folded part opens by the keyboard, and what has the focus shows it.
        tab_to(page, "The machine itself")
        page.keyboard.press("Enter")
        page.get_by_text("Controllers heard").wait_for()
        width = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
        assert float(width.removesuffix("px")) >= 3
        assert one.troubles == []


def tab_to(page: Page, words: str, name: str = "") -> None:
    """Press Tab until the focus is on a link of these words, or a field of this name."""
    for _ in range(60):
        page.keyboard.press("Tab")
        at, field = page.evaluate(
            "[document.activeElement.innerText || '', document.activeElement.name || '']"
        )
        if (words and words in at) or (name and field == name):
            return
    raise AssertionError(f"the keyboard never comes to {words or name}")


MEASURE = """() => {
  const seen = one => {
    const box = one.getBoundingClientRect(), style = getComputedStyle(one);
    return box.width > 1 && box.height > 1 && style.visibility === 'visible' && box.right > 0;
  };
  const name = one => (one.innerText || one.name || one.tagName).trim().slice(0, 40);
  const targets = [...document.querySelectorAll('a, button, summary, input, select')]
    .filter(one => one.type !== 'hidden' && seen(one))
    .map(one => [name(one), Math.min(one.getBoundingClientRect().height)]);
  const texts = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const one = walk.currentNode.parentElement;
    if (walk.currentNode.data.trim() && seen(one) && !one.closest('svg'))
      texts.push([walk.currentNode.data.trim().slice(0, 40),
                  parseFloat(getComputedStyle(one).fontSize)]);
  }
  const verdict = document.querySelector('.board h2');
  const line = document.querySelector('.board:not(.none) .line');
  return {
    wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    targets, texts,
    verdicts: [verdict, line].filter(one => one).map(one => parseFloat(getComputedStyle(one).fontSize)),
  };
}"""  # noqa: E501


@pytest.mark.parametrize("glove", [False, True], ids=["bare", "glove"])
def test_nothing_is_too_small_or_too_wide_for_a_phone(
    browser: Browser, looked_at: str, glove: bool
) -> None:
    with hands(browser, looked_at, PHONE, glove=glove) as one:
        for address in one.addresses():
            page = one.open(address)
            page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
            found = page.evaluate(MEASURE)
            assert found["wide"] <= 0, address
            small = [it for it in found["targets"] if it[1] < SMALLEST_TARGET_PX[glove] - 0.5]
            assert small == [], address
            assert [it for it in found["texts"] if it[1] < SMALLEST_TEXT_PX] == [], address
            assert all(size >= SMALLEST_VERDICT_PX for size in found["verdicts"]), address


def test_no_rule_of_accessibility_is_broken(browser: Browser, looked_at: str) -> None:
    with hands(browser, looked_at, PHONE) as one:
        for address in one.addresses():
            page = one.open(address)
            page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
            page.evaluate(AXE)
            found = page.evaluate(
                "tags => axe.run(document, {runOnly: tags, resultTypes: ['violations']})", TAGS
            )
            broken = [
                (it["id"], [node["html"][:120] for node in it["nodes"]][:3])
                for it in found["violations"]
            ]
            assert broken == [], address


def test_nothing_is_asked_of_any_other_host(browser: Browser, looked_at: str) -> None:
    with hands(browser, looked_at, DESK) as one:
        for address in one.addresses():
            one.open(address)
        assert len(one.asked) > 20
        assert {urlsplit(url).netloc for url in one.asked} == {urlsplit(looked_at).netloc}
        # The page that is not there says so in the console; nothing else does.
        assert all("404" in it for it in one.troubles), one.troubles


def test_paper_shows_the_words_and_no_buttons(browser: Browser, looked_at: str) -> None:
    with hands(browser, looked_at, DESK) as one:
        page = one.open("/")
        page.get_by_role("link", name="Grey").click()
        page.locator("a.row", has_text="Engine coolant temperature").first.click()
        page.locator("#verdict").wait_for()
        page.emulate_media(media="print")
        assert not page.locator(".top").is_visible()
        assert not page.locator(".act").first.is_visible()
        assert page.locator("#verdict").is_visible()
        # What is folded on a screen is there on paper.
        assert page.locator("summary", has_text="Numbers and codes").is_visible()
        assert page.locator("dd", has_text="SPN 110 FMI 0").is_visible()
        assert page.pdf()[:5] == b"%PDF-"


def test_a_form_survives_a_connection_that_is_lost(phone: Hands, book: Path) -> None:
    page = phone.open("/note")
    page.get_by_role("link", name="Grey").tap()
    page.get_by_label("What does the dash show?").fill("SPN 111 FMI 1")
    phone.context.set_offline(True)
    page.get_by_role("button", name="Put it in the book").tap()
    phone.see("It is kept on this phone")
    assert "SPN 111 FMI 1" not in notes(book)
    # As soon as there is one again it goes out by itself.
    phone.context.set_offline(False)
    page.wait_for_url("**/faults/*done=note")
    assert notes(book).count("SPN 111 FMI 1") == 1
    phone.troubles = [it for it in phone.troubles if "ERR_INTERNET_DISCONNECTED" not in it]


def test_an_answer_that_is_lost_doubles_nothing(phone: Hands, book: Path) -> None:
    page = phone.open("/note")
    page.get_by_role("link", name="Grey").tap()
    page.get_by_label("What does the dash show?").fill("SPN 97 FMI 0")
    page.route("**/note", lambda route: lose_answer(route))
    page.get_by_role("button", name="Put it in the book").tap()
    phone.see("It is kept on this phone")
    assert notes(book).count("SPN 97 FMI 0") == 1
    page.unroute("**/note")
    # The page is opened anew: what was typed is back, with its key.
    page.reload()
    phone.see("What you had begun is still here.")
    assert page.get_by_label("What does the dash show?").input_value() == "SPN 97 FMI 0"
    page.get_by_role("button", name="Put it in the book").tap()
    page.wait_for_url("**/faults/*done=note")
    assert notes(book).count("SPN 97 FMI 0") == 1
    phone.troubles = [it for it in phone.troubles if "ERR_CONNECTION_RESET" not in it]


def test_without_scripts_all_of_it_works(browser: Browser, site: str, book: Path) -> None:
    with hands(browser, site, PHONE, script=False) as one:
        page = one.open("/note")
        page.get_by_role("link", name="Grey").click()
        page.get_by_label("What does the dash show?").fill("zzz qqq")
        page.get_by_role("button", name="Put it in the book").click()
        one.see("neither a code nor a symptom")
        assert page.get_by_label("What does the dash show?").input_value() == "zzz qqq"
        page.get_by_label("Something is wrong").check()
        page.get_by_role("button", name="Put it in the book").click()
        page.wait_for_url("**/faults/*done=note")
        assert "zzz qqq" in notes(book)


def test_an_empty_book_says_what_to_do(browser: Browser, tmp_path: Path) -> None:
    with served(tmp_path / "empty") as site, hands(browser, site, PHONE) as one:
        page = one.open("/")
        page.get_by_role("link", name="Bring recordings in").tap()
        page.get_by_label("Folder or memory card").wait_for()
        one.open("/note")
        one.see("no machine yet")
        assert one.troubles == []
        shutil.rmtree(tmp_path / "empty" / "page", ignore_errors=True)
