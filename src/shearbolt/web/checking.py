"""What came of a check: the form, and the page that shows what is likelier now."""

from __future__ import annotations

from typing import cast

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from shearbolt.app import use_cases
from shearbolt.app.composing.check_words import STEPS, outcome_choices
from shearbolt.app.documents import FaultDocument
from shearbolt.errors import ShearboltError, UsageError
from shearbolt.web import phrases, words
from shearbolt.web.forms import Filled
from shearbolt.web.keys import Answer, NotSure, UsedBefore, digest_of, new_key
from shearbolt.web.look import remember_name, tidy_name
from shearbolt.web.site import Site, site_of, status_of, wants_json
from shearbolt.web.uploads import arriving, receive
from shearbolt.web.view_check import Moved, check_asked, moved_shown, value_filed
from shearbolt.web.writing import done


async def check(request: Request) -> Response:
    """What did you find?"""
    site = site_of(request)
    look = site.look(request)
    name = request.path_params["check"]
    if name not in STEPS:
        raise HTTPException(404)
    fault = await run_in_threadpool(
        site.documents.fault, request.path_params["fault"], look.wording
    )
    if request.method != "POST":
        if site.moving:
            return RedirectResponse("/live", 303)
        return await _form(site, request, fault, name, Filled({}))
    with arriving(site.arriving) as folder:
        sent = await receive(request, folder)
    filled = Filled(sent.fields)
    names = tuple(one for one, _ in outcome_choices(name))
    outcome = filled.chosen("outcome", *names)
    value = value_filed(filled, "value", words.MEASURED.get(name, ""), look.units)
    at_place = value_filed(filled, "at_place", "degC", look.units)
    hours = filled.hours("hours")
    written = filled.instant("written_at", look.now)
    filled.problems.pop("written_at", None)
    who = tidy_name(filled.text("who"))
    if outcome is None and value is None and not filled.problems:
        filled.problems["outcome"] = "Tap what came of it."
    if filled.problems:
        return await _form(site, request, fault, name, filled)

    def work() -> Answer:
        document = use_cases.check_add(
            site.book,
            fault=fault["fault"],
            check=name,
            outcome=outcome,
            value=value,
            sensor_c=at_place,
            hours=hours,
            date_us=written,
            who=who or None,
            note=filled.text("note") or None,
            wording=look.wording,
        )
        return {
            "to": f"/faults/{fault['fault']}/moved/{filled.text('key')}",
            "shown": moved_shown(document, fault, look),
        }

    try:
        answer = await run_in_threadpool(
            site.forms.once, filled.text("key"), digest_of(sent.parts()), work
        )
    except (UsedBefore, NotSure) as trouble:
        filled.problems[""] = trouble.sentence
        filled.earlier = trouble.to if isinstance(trouble, UsedBefore) else ""
        filled.fields = {**filled.fields, "key": []}
        return await _form(site, request, fault, name, filled, 409)
    except UsageError as trouble:
        # What the value means is not known here; a person can still tell what it was.
        filled.problems["outcome"] = phrases.for_page(trouble.sentence) + " Tap what came of it."
        return await _form(site, request, fault, name, filled)
    except ShearboltError as trouble:
        filled.problems[""] = phrases.for_page(trouble.sentence)
        return await _form(site, request, fault, name, filled, status_of(trouble))
    led = done(request, answer["to"])
    if who:
        remember_name(led, who)
    return led


def moved(request: Request) -> Response:
    """What is likelier now?"""
    site = site_of(request)
    answer = site.forms.answer(request.path_params["key"])
    here = f"/faults/{request.path_params['fault']}/moved/"
    if answer is None or answer["shown"] is None or not answer["to"].startswith(here):
        raise HTTPException(404)
    return site.page(request, "moved.html", shown=cast(Moved, answer["shown"]))


async def _form(
    site: Site,
    request: Request,
    fault: FaultDocument,
    name: str,
    filled: Filled,
    status: int | None = None,
) -> Response:
    if status is None:
        status = 422 if filled.problems else 200
    key = filled.text("key") or new_key()
    if filled.problems and wants_json(request):
        return JSONResponse(
            {"problems": filled.problems, "key": key, "earlier": filled.earlier}, status
        )

    def make() -> Response:
        look = site.look(request)
        owner = site.documents.machine(fault["machine"], look.wording)
        volts = site.documents.system_v(fault["machine"]) if name in words.BY_BATTERY else 12
        return site.page(
            request,
            "check.html",
            status,
            asked=check_asked(fault, name, volts, look),
            hours=owner["engine_hours"],
            filled=filled,
            key=key,
        )

    return await run_in_threadpool(make)
