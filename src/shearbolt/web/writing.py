"""The pages that write: a note, a repair, how the pages shall look."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Literal, cast

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from shearbolt.app import use_cases
from shearbolt.app.documents import MachineDocument, NoteAsked
from shearbolt.errors import NoteNotUnderstood, ShearboltError, UsageError
from shearbolt.web import phrases, words
from shearbolt.web.forms import Filled
from shearbolt.web.keys import Answer, NotSure, UsedBefore, digest_of, new_key
from shearbolt.web.look import Look, remember, remember_name, tidy_name
from shearbolt.web.site import Site, site_of, status_of, wants_json
from shearbolt.web.uploads import Sent, arriving, is_picture, receive
from shearbolt.web.view_machine import fault_row

_LONGEST_NOTE = 500


async def note(request: Request) -> Response:
    """Write down what the dash shows or the machine does."""
    site = site_of(request)
    look = site.look(request)
    owner = await run_in_threadpool(
        site.documents.machine, request.path_params["machine"], look.wording
    )
    if request.method != "POST" and site.moving:
        return RedirectResponse("/live", 303)
    if request.method != "POST":
        return await _form(site, request, "note.html", owner, Filled({}))
    with arriving(site.arriving) as folder:
        sent = await receive(request, folder)
        filled = Filled(sent.fields)
        asked = _note_asked(filled, sent, owner, look)
        if filled.problems:
            return await _form(site, request, "note.html", owner, filled)

        def work() -> Answer:
            visit = use_cases.note(site.book, asked, wording=look.wording)
            if visit["faults"]:
                return {"to": f"/faults/{visit['faults'][0]}?done=note", "shown": None}
            return {"to": f"/machines/{visit['machine']}?done=event", "shown": None}

        answer = await _once(site, request, "note.html", owner, filled, sent, work)
    if asked.who and not isinstance(answer, _Refused):
        remember_name(answer, asked.who)
    return answer


def _note_asked(filled: Filled, sent: Sent, owner: MachineDocument, look: Look) -> NoteAsked:
    text = filled.text("text") or filled.text("quick")
    if not text:
        filled.problems["text"] = "Tap one of these, or write what it shows or does."
    elif len(text) > _LONGEST_NOTE:
        filled.problems["text"] = f"At most {_LONGEST_NOTE} characters, please: one thing a note."
    photo = sent.files.get("photo", [])
    if photo and not is_picture(photo[0].path):
        filled.problems["photo"] = "That file is no picture of a kind that phones make."
    hot_cold = filled.chosen("hot_cold", "hot", "cold")
    own_words = filled.chosen("own_words", "symptom", "event")
    # A form that was kept on a phone without a connection tells when it was written.
    written = filled.instant("when", look.now)
    if written is None and "when" not in filled.problems:
        written = filled.instant("written_at", look.now)
        filled.problems.pop("written_at", None)
    return NoteAsked(
        text=text,
        machine=owner["machine"],
        hours=filled.hours("hours"),
        date_us=written,
        doing=filled.text("doing") or None,
        hot_cold=cast(Literal["hot", "cold"] | None, hot_cold),
        after_start=filled.text("after_start") or None,
        photo=str(photo[0].path) if photo else None,
        who=tidy_name(filled.text("who")) or None,
        own_words=cast(Literal["symptom", "event"] | None, own_words),
    )


async def repair(request: Request) -> Response:
    """Write down what was done to cure a fault."""
    site = site_of(request)
    look = site.look(request)
    owner = await run_in_threadpool(
        site.documents.machine, request.path_params["machine"], look.wording
    )
    if request.method != "POST" and site.moving:
        return RedirectResponse("/live", 303)
    if request.method != "POST":
        asked_for = request.query_params.getlist("fault")
        return await _form(site, request, "repair.html", owner, Filled({"fault": asked_for}))
    with arriving(site.arriving) as folder:
        sent = await receive(request, folder)
    filled = Filled(sent.fields)
    text, hours = filled.text("text"), filled.hours("hours")
    date_us = filled.instant("date", look.now)
    if not text:
        filled.problems["text"] = "Write what was done."
    if hours is None and "hours" not in filled.problems:
        filled.problems["hours"] = "The hours tell later whether it held: read them off the meter."
    if filled.problems or hours is None:
        return await _form(site, request, "repair.html", owner, filled)

    def work() -> Answer:
        use_cases.repair_add(
            site.book,
            machine=owner["machine"],
            faults=filled.texts("fault"),
            hours=hours,
            date_us=date_us,
            text=text,
            wording=look.wording,
        )
        return {"to": f"/machines/{owner['machine']}?done=repair", "shown": None}

    return await _once(site, request, "repair.html", owner, filled, sent, work)


async def settings(request: Request) -> Response:
    """Choose units, name and the size of what is tapped."""
    site = site_of(request)
    if request.method != "POST":
        return site.page(request, "settings.html", saved="saved" in request.query_params)
    with arriving(site.arriving) as folder:
        filled = Filled((await receive(request, folder)).fields)
    done = RedirectResponse("/settings?saved", 303)
    remember(
        done,
        units="us" if filled.text("units") == "us" else "metric",
        name=filled.text("name"),
        glove=filled.text("glove") == "on",
    )
    return done


class _Refused(JSONResponse):
    """A refusal for our own script."""


def done(request: Request, to: str) -> Response:
    """Lead on to the page that shows what was done."""
    if wants_json(request):
        return JSONResponse({"to": to})
    return RedirectResponse(to, 303)


async def _once(
    site: Site,
    request: Request,
    template: str,
    owner: MachineDocument,
    filled: Filled,
    sent: Sent,
    work: Callable[[], Answer],
) -> Response:
    """Do a form's work once; where it is refused, show the form with all that was typed."""
    try:
        answer = await run_in_threadpool(
            site.forms.once, filled.text("key"), digest_of(sent.parts()), work
        )
    except (UsedBefore, NotSure) as trouble:
        filled.problems[""] = trouble.sentence
        filled.earlier = trouble.to if isinstance(trouble, UsedBefore) else ""
        filled.fields = {**filled.fields, "key": []}
        return await _form(site, request, template, owner, filled, 409)
    except NoteNotUnderstood as trouble:
        filled.problems["text"] = phrases.for_page(trouble.sentence)
        return await _form(site, request, template, owner, filled)
    except UsageError as trouble:
        filled.problems[""] = phrases.for_page(trouble.sentence)
        return await _form(site, request, template, owner, filled)
    except ShearboltError as trouble:
        filled.problems[""] = phrases.for_page(trouble.sentence)
        return await _form(site, request, template, owner, filled, status_of(trouble))
    return done(request, answer["to"])


async def _form(
    site: Site,
    request: Request,
    template: str,
    owner: MachineDocument,
    filled: Filled,
    status: int | None = None,
) -> Response:
    """Show a form, with what was typed and what is wrong with it."""
    if status is None:
        status = 422 if filled.problems else 200
    key = filled.text("key") or new_key()
    if filled.problems and wants_json(request):
        return _Refused(
            {"problems": filled.problems, "key": key, "earlier": filled.earlier}, status
        )
    look = site.look(request)
    open_faults = [
        fault_row(one, look)
        for one in owner["faults"]
        if (not one["stale"] and one["state"] != "cleared") or one["fault"] in filled.texts("fault")
    ]
    return await run_in_threadpool(
        lambda: site.page(
            request,
            template,
            status,
            machine=owner["machine"],
            name=owner["machine_name"],
            hours=owner["engine_hours"],
            filled=filled,
            key=key,
            faults=open_faults,
            symptoms=words.SYMPTOMS,
            today=look.now.date().isoformat(),
        )
    )


def folder_typed(typed: str) -> Path:
    """Read the path of a file or folder on this computer. Raises UsageError."""
    path = Path(typed.strip().strip('"')).expanduser()
    if not path.is_absolute():
        raise UsageError("Give the whole path, from the disk on: /media/card or D:\\card.")
    if not path.exists():
        raise UsageError(f"There is no {path} on this computer.")
    return path
