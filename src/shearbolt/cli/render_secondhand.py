"""A second-hand look, as lines for people."""

from __future__ import annotations

from shearbolt.app.documents import SecondhandDocument
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page


def render_secondhand(document: SecondhandDocument, look: Look) -> list[str]:
    """Show what a machine's memory tells, and what to ask the seller."""
    page = Page(look)
    page.title(f"{document['machine_name']}, seen with a buyer's eyes")
    for words in document["words"]:
        page.text(words, 2)
    if document["shows"]:
        page.blank()
    for one in document["shows"]:
        page.item(one["shows"])
        if one["innocent"]:
            page.text(f"It may be innocent: {'; or '.join(one['innocent'])}.", 4)
    if document["questions"]:
        page.blank()
        page.title("Ask the seller")
        for question in document["questions"]:
            page.item(question)
    page.more(f"shearbolt tells {document['machine']}", f"shearbolt machine {document['machine']}")
    return page.lines
