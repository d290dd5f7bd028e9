"""Bringing recordings in: files sent from a phone or computer, or a folder of this computer."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from typing import cast

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from shearbolt.app import use_cases
from shearbolt.app.documents import no_progress
from shearbolt.errors import ShearboltError, UsageError
from shearbolt.web import phrases
from shearbolt.web.forms import Filled
from shearbolt.web.keys import Answer, NotSure, UsedBefore, digest_of, new_key
from shearbolt.web.site import Site, site_of, status_of, wants_json
from shearbolt.web.uploads import arriving, receive, set_age
from shearbolt.web.view_visit import Brought, brought
from shearbolt.web.writing import done, folder_typed


async def bring(request: Request) -> Response:
    """Take recordings into the book."""
    site = site_of(request)
    if request.method != "POST":
        return await _form(site, request, Filled({}), 200)
    look = site.look(request)
    with arriving(site.arriving) as folder:
        sent = await receive(request, folder)
        filled = Filled(sent.fields)
        files = [one for some in sent.files.values() for one in some]
        ages = sent.fields.pop("modified", [])
        for i, one in enumerate(files):
            set_age(one, ages[i] if len(ages) == len(files) else "")
        paths = [str(one.path) for one in files]
        try:
            if filled.text("folder"):
                paths.append(str(folder_typed(filled.text("folder"))))
            if not paths:
                raise UsageError("Choose files, or name a folder of this computer.")
            start_us = filled.instant("start", look.now)
            hours = filled.hours("hours")
            if filled.problems:
                return await _form(site, request, filled, 422)

            def work() -> Answer:
                document = use_cases.add_recordings(
                    site.book,
                    paths,
                    machine=filled.text("machine") or None,
                    start_us=start_us,
                    hours=hours,
                    columns=_columns(filled),
                    progress=no_progress,
                    wording=look.wording,
                )
                shown = brought(document, look)
                if not shown["visits"]:
                    raise _NothingTaken(shown["refused"])
                return {"to": f"/brought/{filled.text('key')}", "shown": shown}

            answer = await run_in_threadpool(
                site.forms.once, filled.text("key"), digest_of(sent.parts()), work
            )
        except (UsedBefore, NotSure) as trouble:
            filled.fields = {**filled.fields, "key": []}
            filled.problems[""] = trouble.sentence
            filled.earlier = trouble.to if isinstance(trouble, UsedBefore) else ""
            return await _form(site, request, filled, 409)
        except ShearboltError as trouble:
            filled.problems[""] = phrases.for_page(trouble.sentence.replace(f"{folder}/", ""))
            return await _form(site, request, filled, status_of(trouble))
    return done(request, answer["to"])


class _NothingTaken(UsageError):
    """No file could be brought in."""

    def __init__(self, refused: Sequence[tuple[str, str]]) -> None:
        shown = " ".join(f"{file}: {reason}" for file, reason in refused[:3])
        more = f" And {len(refused) - 3} more." if len(refused) > 3 else ""
        super().__init__(f"Nothing was brought in. {shown}{more}")


def _columns(filled: Filled) -> dict[str, str]:
    """Read which columns of a table hold time, identifier and data."""
    columns = {name: filled.text(f"column_{name}") for name in ("time", "id", "data")}
    return {name: column for name, column in columns.items() if column}


async def _form(site: Site, request: Request, filled: Filled, status: int) -> Response:
    key = filled.text("key") or new_key()
    if filled.problems and wants_json(request):
        return JSONResponse(
            {"problems": filled.problems, "key": key, "earlier": filled.earlier}, status
        )
    look = site.look(request)

    def make() -> Response:
        yard = site.documents.yard(look.wording)
        site.book.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(site.book).free
        return site.page(
            request,
            "bring.html",
            status,
            filled=filled,
            key=key,
            machines=sorted(yard["machines"], key=lambda one: one["machine_name"].casefold()),
            most=min(site.limits.recordings, free),
        )

    return await run_in_threadpool(make)


def brought_page(request: Request) -> Response:
    """What did they tell?"""
    site = site_of(request)
    answer = site.forms.answer(request.path_params["key"])
    if answer is None or answer["shown"] is None:
        raise HTTPException(404)
    return site.page(request, "brought.html", shown=cast(Brought, answer["shown"]))
