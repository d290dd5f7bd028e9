"""Service, the work list, forecasts, costs and Sunday's page, as lines for people."""

from __future__ import annotations

from collections.abc import Sequence

from shearbolt.app.documents import (
    CostsDocument,
    CoursesDocument,
    ForecastDocument,
    ServiceDocument,
    ServiceEntry,
    ServiceJobDocument,
    SundayDocument,
    WorkDocument,
    WorkJob,
)
from shearbolt.cli import phrases
from shearbolt.cli.layout import clean, width_of
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page

_SHOWN = 12


def _share(value: float) -> str:
    if 0.0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1.0:
        return "over 99 %"
    return f"{value * 100:.0f} %"


def _every(one: ServiceEntry) -> str:
    parts = []
    if one["every_hours"] is not None:
        parts.append(f"{phrases.number(one['every_hours'])} h")
    if one["every_days"] is not None:
        parts.append(f"{phrases.number(one['every_days'])} days")
    return f"every {' or '.join(parts)}" if parts else ""


def _service(page: Page, one: ServiceEntry, *, named: bool = True) -> None:
    about = f"{one['machine_name']}: {one['text']}" if named else one["text"]
    page.item(f"{about}. {one['words']}")
    last = ""
    if one["last_hours"] is not None or one["last_date"] is not None:
        at = [
            phrases.hours(one["last_hours"]) if one["last_hours"] is not None else "",
            phrases.day(one["last_date"], page.look) if one["last_date"] is not None else "",
        ]
        last = f"last done {', '.join(each for each in at if each)}"
    page.line(
        [
            _every(one),
            last,
            f"expected {phrases.day(one['expected'], page.look)}" if one["expected"] else "",
            f"{phrases.number(one['minutes'])} min" if one["minutes"] is not None else "",
            f"job {one['job']}",
        ],
        4,
        " · ",
    )


def render_service_job(document: ServiceJobDocument, look: Look) -> list[str]:
    """Show the service job as it stands now."""
    page = Page(look)
    done = document["service_done"] is not None
    page.title(f"{'Done on' if done else 'Kept for'} {document['machine_name']}")
    _service(page, document, named=False)
    page.more("shearbolt service list", f"shearbolt service done {document['job']} --hours H")
    return page.lines


def render_service(document: ServiceDocument, look: Look) -> list[str]:
    """Show what service is due."""
    page = Page(look)
    page.title(
        f"Service before {phrases.number(document['window_hours'])} h of work or "
        f"{phrases.number(document['window_days'])} days"
    )
    if not document["services"]:
        page.text("No service is kept yet.", 2)
    for one in document["services"]:
        _service(page, one)
    page.more("shearbolt service add MACHINE --text WORDS --every-hours H", "shearbolt sunday")
    return page.lines


def render_work_list(document: WorkDocument, look: Look) -> list[str]:
    """Show the shop's work in its order."""
    page = Page(look)
    page.title(f"Work before {phrases.number(document['window_hours'])} h in the field")
    if not document["jobs"]:
        page.text("No open fault asks for work.", 2)
    for place, one in enumerate(document["jobs"][:_SHOWN], start=1):
        _job(page, place, one, document["currency"] or "")
    if len(document["jobs"]) > _SHOWN:
        page.blank()
        page.text(f"And {len(document['jobs']) - _SHOWN} more that buy less.")
    if document["service"]:
        page.blank()
        page.title("Service due beside it")
        for entry in document["service"]:
            _service(page, entry)
    if document["not_looked_at"]:
        page.blank()
        page.text(f"Not looked at since: {', '.join(document['not_looked_at'])}.")
    page.blank()
    for words in document["words"]:
        page.text(words)
    first = document["jobs"][0]["fault"] if document["jobs"] else None
    page.more(f"shearbolt fault {first}" if first else "shearbolt yard", "shearbolt sunday")
    return page.lines


def _job(page: Page, place: int, one: WorkJob, currency: str) -> None:
    page.blank()
    page.text(f"{place}. {one['machine_name']}: {one['text']}", 0, hang=3)
    page.text(one["words"], 3, hang=2)
    risk = (
        f"chance of a stop by it {_share(one['chance_before'])}, then {_share(one['chance_after'])}"
    )
    if one["stands_now"]:
        risk = "it stops or limits the machine now"
    elif one["chance_before"] == 0.0:
        risk = "it stops nothing by itself"
    page.line(
        [
            "safety first" if one["safety"] else "",
            risk,
            f"about {phrases.number(one['minutes'])} min",
            f"saves {phrases.number(one['hours_saved'], 2)} h of standstill",
            f"worth {one['value']:,.0f} {currency}".rstrip() if one["value"] is not None else "",
            "" if one["fits"] else "no time left for it",
            f"service with it: {', '.join(one['service'])}" if one["service"] else "",
            f"fault {one['fault']}",
        ],
        3,
        " · ",
    )
    for caution in one["cautions"]:
        page.text(f"Caution: {caution}", 3, hang=2)


def render_forecast(document: ForecastDocument, look: Look) -> list[str]:
    """Show the chance of getting through the next hours."""
    page = Page(look)
    page.title(
        f"{document['machine_name']}, the next {phrases.number(document['hours'])} h: "
        f"{_share(document['chance'])}"
    )
    for words in document["words"]:
        page.text(words, 2)
    if document["service"]:
        page.blank()
        page.title("Service due before")
        for entry in document["service"]:
            _service(page, entry, named=False)
    page.more(f"shearbolt machine {document['machine']}", "shearbolt work")
    return page.lines


def render_costs(document: CostsDocument, look: Look) -> list[str]:
    """Show what things cost this owner."""
    page = Page(look)
    page.title("What things cost you")
    money = document["currency"] or "your money"
    rows = [
        ("a call, fixed part", document["call_out"], money),
        ("an hour of the one who is called", document["hourly_rate"], money),
        ("way, one way", document["distance_km"], "km"),
        ("a kilometre", document["per_km"], money),
        ("an hour of your own", document["own_hour"], money),
        ("an hour's standstill", document["standstill_hour"], money),
        ("until help is there", document["wait_hours"], "h"),
        ("help takes", document["called_hours"], "h"),
        ("a part", document["parts"], money),
        ("until a part is there", document["fetch_hours"], "h"),
    ]
    for name, value, unit in rows:
        page.named(name, "not given" if value is None else f"{phrases.number(value)} {unit}")
    if document["missing"]:
        page.text(f"Still needed to compare courses: {', '.join(document['missing'])}", 2)
    page.more("shearbolt courses FAULT", "shearbolt work")
    return page.lines


def render_courses(document: CoursesDocument, look: Look) -> list[str]:
    """Show the courses for a fault."""
    page = Page(look)
    page.title(f"{document['machine_name']}: {document['text']}")
    for words in document["words"]:
        page.text(words, 2)
    for caution in document["cautions"]:
        page.text(f"Caution: {caution}", 2, hang=2)
    money = document["currency"] or ""
    if document["costs"]:
        page.blank()
    for one in document["costs"]:
        page.item(one["words"])
        page.line(
            [
                f"expected {one['expected']:,.0f} {money}".rstrip(),
                f"at worst {one['worst']:,.0f}",
                f"standstill {phrases.number(one['standstill_hours'], 2)} h",
                f"no call needed: {_share(one['chance_without_call'])}" if one["order"] else "",
            ],
            4,
            " · ",
        )
    if document["odds"]:
        page.blank()
        page.title("The odds that fed it")
        rows = [
            [
                phrases.CAUSES[one["cause"]],
                _share(one["probability"]),
                f"{phrases.number(one['own_hours'], 2)} h",
                phrases.number(one["parts"]),
            ]
            for one in document["odds"]
        ]
        if document["probability_other"] is not None:
            rows.append(["none of these", _share(document["probability_other"]), "call", ""])
        page.table(["cause", "odds", "yourself", "parts"], rows, right=(1, 2, 3))
    page.more(f"shearbolt fault {document['fault']}", "shearbolt costs")
    return page.lines


def render_sunday(document: SundayDocument, look: Look) -> list[str]:
    """Show the week's page: a name and at most two lines a machine."""
    page = Page(look)
    page.title(f"The week from {phrases.day(document['as_of'], look)}")
    if not document["machines"]:
        page.text("No machine is in the book yet.", 2)
    for one in document["machines"]:
        name = clean(one["machine_name"])
        page.lines.append(_clipped(f"{name}: {clean(one['says'])}", look.width))
        beside = _beside(one["service"])
        do = f"  {phrases.number(one['minutes'])} min: {clean(one['do'])}"
        room = max(24, look.width - width_of(beside))
        page.lines.append(_clipped(_clipped(do, room) + beside, look.width))
    page.blank()
    page.text(f"All of it together: {phrases.number(document['minutes'])} min.")
    page.more("shearbolt machine ID_OR_NAME", "shearbolt work")
    return page.lines


def _beside(due: Sequence[ServiceEntry]) -> str:
    """Name the most urgent service, and how many more there are."""
    if not due:
        return ""
    left = "overdue" if due[0]["due"] == "overdue" else "due"
    more = f" and {len(due) - 1} more" if len(due) > 1 else ""
    return f"; service {left}: {_clipped(clean(due[0]['text']), 28)}{more}"


def _clipped(text: str, width: int) -> str:
    """Keep a line to the page's width: two lines a machine are a promise."""
    if width_of(text) <= width:
        return text
    while width_of(text) > width - 1:
        text = text[:-1]
    return text.rstrip() + "…"
