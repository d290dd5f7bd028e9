"""Pictures at addresses of their own, so that the page that shows them need not wait for them.

`/faults/ID/picture/spell.svg` is the picture, the same address without `.svg` a page of it with
its table, and with `/table` the table alone, which our script puts beside the picture.
"""

from __future__ import annotations

from typing import get_args

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from shearbolt.app.picturing.documents import FaultView, MachineView, Picture
from shearbolt.pictures import draw, table_of
from shearbolt.pictures.style import USUAL
from shearbolt.web.site import Site, site_of

_FAULT: dict[str, FaultView] = {one: one for one in get_args(FaultView)}
_MACHINE: dict[str, MachineView] = {one: one for one in get_args(MachineView)}


def fault_svg(request: Request) -> Response:
    """Draw a picture of a fault."""
    return _svg(request, _of_fault(request))


def machine_svg(request: Request) -> Response:
    """Draw a picture of a machine."""
    return _svg(request, _of_machine(request))


def fault_page(request: Request) -> Response:
    """What does this picture tell?"""
    site, which = site_of(request), request.path_params["fault"]
    picture = _of_fault(request)
    name = site.documents.fault(which, site.look(request).wording)["machine_name"]
    return _page(site, request, picture, f"/faults/{which}", f"{picture['title']}, {name}")


def machine_page(request: Request) -> Response:
    """What does this picture of the machine tell?"""
    site, which = site_of(request), request.path_params["machine"]
    picture = _of_machine(request)
    return _page(site, request, picture, f"/machines/{which}", picture["machine_name"])


def fault_table(request: Request) -> Response:
    """Give the table of a fault's picture alone."""
    return _table(request, _of_fault(request))


def machine_table(request: Request) -> Response:
    """Give the table of a machine's picture alone."""
    return _table(request, _of_machine(request))


def _of_fault(request: Request) -> Picture:
    site, of = site_of(request), _FAULT.get(request.path_params["name"])
    if of is None:
        raise HTTPException(404)
    return site.documents.fault_picture(
        request.path_params["fault"], of, site.look(request).wording
    )


def _of_machine(request: Request) -> Picture:
    site, of = site_of(request), _MACHINE.get(request.path_params["name"])
    if of is None:
        raise HTTPException(404)
    return site.documents.machine_picture(
        request.path_params["machine"], of, site.look(request).wording
    )


def _svg(request: Request, picture: Picture) -> Response:
    asked = request.query_params.get("w", "")
    # `draw` holds the width between what it can draw.
    width = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 6 else USUAL
    zone = site_of(request).look(request).now.tzinfo
    return Response(draw(picture, width=width, zone=zone), media_type="image/svg+xml")


def _page(site: Site, request: Request, picture: Picture, back: str, title: str) -> Response:
    return site.page(
        request,
        "picture.html",
        back=back,
        title=title,
        address=f"{back}/picture/{picture['what']}",
        what=picture["what"],
        table=table_of(picture, site.look(request).now.tzinfo),
    )


def _table(request: Request, picture: Picture) -> Response:
    site = site_of(request)
    table = table_of(picture, site.look(request).now.tzinfo)
    return site.page(request, "picture_table.html", what=picture["what"], table=table)
