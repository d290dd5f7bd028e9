"""The addresses of the pages."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import BaseRoute, Route

from shearbolt.web import bringing, checking, listening, looking, picturing, writing
from shearbolt.web.site import static


def healthz(request: Request) -> PlainTextResponse:
    """Say that the server is there."""
    return PlainTextResponse("ok\n")


ROUTES: list[BaseRoute] = [
    Route("/", looking.yard),
    Route("/machines/{machine}", looking.machine),
    Route("/machines/{machine}/note", writing.note, methods=["GET", "POST"]),
    Route("/machines/{machine}/repair", writing.repair, methods=["GET", "POST"]),
    Route("/machines/{machine}/picture/{name}.svg", picturing.machine_svg),
    Route("/machines/{machine}/picture/{name}/table", picturing.machine_table),
    Route("/machines/{machine}/picture/{name}", picturing.machine_page),
    Route("/faults/{fault}", looking.fault),
    Route("/faults/{fault}/checks/{check}", checking.check, methods=["GET", "POST"]),
    Route("/faults/{fault}/moved/{key}", checking.moved),
    Route("/faults/{fault}/picture/{name}.svg", picturing.fault_svg),
    Route("/faults/{fault}/picture/{name}/table", picturing.fault_table),
    Route("/faults/{fault}/picture/{name}", picturing.fault_page),
    Route("/visits/{visit}", looking.visit),
    Route("/note", looking.note_where),
    Route("/bring", bringing.bring, methods=["GET", "POST"]),
    Route("/brought/{key}", bringing.brought_page),
    Route("/live", listening.live),
    Route("/live/begin", listening.begin, methods=["POST"]),
    Route("/live/stop", listening.stop, methods=["POST"]),
    Route("/live/events", listening.events),
    Route("/plug", looking.plugs),
    Route("/plug/{plug}", looking.plug),
    Route("/settings", writing.settings, methods=["GET", "POST"]),
    Route("/static/{name}", static),
    Route("/healthz", healthz),
]
"""Every address there is; an identifier or a name stands for a machine."""
