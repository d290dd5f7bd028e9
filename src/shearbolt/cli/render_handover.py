"""A handover, as lines for people."""

from __future__ import annotations

from shearbolt.app.documents import HandoverDocument
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page


def render_handover(document: HandoverDocument, look: Look) -> list[str]:
    """Show what was written, and what stands on the page."""
    page = Page(look)
    sheet = document["sheet"]
    page.title(f"One page for the technician: {sheet['machine']}, {sheet['title']}")
    page.text(f"Written to {document['folder']}", 2, hang=2)
    for one in document["files"]:
        page.item(f"{one['file']}: {one['words']} ({phrases.size(one['bytes'])})")
    if sheet["questions"]:
        page.blank()
        page.title("Still open")
        for question in sheet["questions"]:
            page.item(question)
    page.more(f"shearbolt fault {document['fault']}")
    return page.lines
