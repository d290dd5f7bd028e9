"""From a document to the exit status that the interface promises."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

DONE = 0
"""Done."""
PARTLY = 1
"""Done, but something could not be read or was refused, and the document says what."""
USAGE = 2
"""Wrong usage."""
NOTHING = 3
"""Nothing could be done."""


def exit_status(document: Mapping[str, Any]) -> int:
    """Tell from a document alone whether all, a part or nothing was done."""
    kind = str(document["schema"]).split("/")[1]
    if kind == "demo":
        return exit_status(document["add"])
    if kind == "add":
        if document["refused"] and not document["visits"]:
            return NOTHING
        not_read = any(visit["not_read"] for visit in document["visits"])
        return PARTLY if document["refused"] or not_read else DONE
    if kind == "listen":
        if not document["visits"]:
            return PARTLY if document["left_over"] else NOTHING
        amiss = document["refused"] or document["stopped_by"] == "disk"
        return PARTLY if amiss else DONE
    if kind in ("baseline", "learn") and document["refused"]:
        return PARTLY
    if kind == "learn":
        if document["visit"] is None:
            return NOTHING
        return DONE if document["amiss"] is None else PARTLY
    if kind == "ask":
        if document["ended"] == "done" and not document["refused"]:
            return DONE
        return PARTLY if document["visits"] else NOTHING
    if kind == "watch":
        return PARTLY if document["full"] else DONE
    if kind == "import-book":
        if document["refused"] and not document["machines"]:
            return NOTHING
        return PARTLY if document["refused"] else DONE
    if kind in ("check", "backup"):
        return DONE if document["sound"] else PARTLY
    return DONE
