"""`repair`, `rename`, `export`, `import-book`, `backup`, `check` and `demo` as lines for people."""

from __future__ import annotations

from shearbolt.app.documents import (
    BackupDocument,
    CheckDocument,
    DemoDocument,
    ExportDocument,
    ImportBookDocument,
    RenameDocument,
    RepairDocument,
)
from shearbolt.cli import phrases
from shearbolt.cli.look import Look
from shearbolt.cli.page import Page
from shearbolt.cli.render_faults import render_faults
from shearbolt.cli.render_machine import render_yard
from shearbolt.cli.render_visit import refused_lines


def render_repair(document: RepairDocument, look: Look) -> list[str]:
    """Show the repair filed and the faults it stands for."""
    page = Page(look)
    page.title(f"Repair filed for {document['machine_name']}")
    page.text(document["text"], 2)
    page.line(
        [
            phrases.day(document["date"], look) if document["date"] else "",
            phrases.hours(document["hours"]),
            f"repair {document['repair']}",
        ],
        2,
        " · ",
    )
    if document["faults"]:
        page.text(f"It stands for {', '.join(document['faults'])}.", 2)
    else:
        page.text("It stands for no fault of the book; --fault ID says which it was for.", 2)
    page.more(
        *[f"shearbolt fault {fault}" for fault in document["faults"][:3]],
        f"shearbolt machine {document['machine']}",
    )
    return page.lines


def render_rename(document: RenameDocument, look: Look) -> list[str]:
    """Show the new name beside the old one."""
    page = Page(look)
    page.text(f"'{document['old_name']}' is now called '{document['machine_name']}'.")
    page.more(f"shearbolt machine {document['machine']}")
    return page.lines


def render_export(document: ExportDocument, look: Look) -> list[str]:
    """Show what was written where."""
    page = Page(look)
    page.title(f"{document['machine_name']} written to {document['folder']}")
    page.line(
        [
            phrases.many(document["visits"], "visit"),
            phrases.many(document["faults"], "fault"),
            phrases.many(len(document["files"]), "file"),
            phrases.size(sum(one["bytes"] for one in document["files"])),
        ],
        2,
    )
    shown = document["files"][:20]
    if shown:
        page.table(
            ["Holds", "Size", "File"],
            [[one["words"], phrases.size(one["bytes"]), one["file"]] for one in shown],
            right=(1,),
        )
    if len(document["files"]) > len(shown):
        page.text(f"and {phrases.many(len(document['files']) - len(shown), 'more file')}", 2)
    page.more(f"shearbolt machine {document['machine']}")
    return page.lines


def render_backup(document: BackupDocument, look: Look) -> list[str]:
    """Show what the backup holds and whether it was proved."""
    page = Page(look)
    page.title(f"Backup written to {document['target']}")
    page.line(
        [
            phrases.many(document["machines"], "machine"),
            phrases.many(document["visits"], "visit"),
            phrases.many(document["files"], "file"),
            phrases.size(document["bytes"]),
        ],
        2,
    )
    if document["sound"]:
        page.text("Read again after writing: it agrees with the book.", 2)
    else:
        page.text(
            "Read again after writing: it does NOT agree with the book. Do not rely on it.", 2
        )
    page.more("shearbolt check")
    return page.lines


def render_import_book(document: ImportBookDocument, look: Look) -> list[str]:
    """Show what was taken in and what was there already."""
    page = Page(look)
    page.title(f"Taken in from {document['folder']}")
    page.line(
        [
            phrases.many(document["visits_added"], "new visit"),
            f"{document['visits_known']:,} known already",
            phrases.many(document["repairs_added"], "new repair"),
            phrases.many(len(document["machines"]), "machine"),
        ],
        2,
    )
    refused_lines(page, document["refused"])
    page.more(*[f"shearbolt machine {one}" for one in document["machines"][:3]], "shearbolt yard")
    return page.lines


def render_check(document: CheckDocument, look: Look) -> list[str]:
    """Show what was looked at and what is wrong."""
    page = Page(look)
    page.title("The book is sound." if document["sound"] else "Something is wrong with the book.")
    if document["looked_at"]:
        page.table(
            ["Looked at", "How many", "Sound"],
            [
                [one["words"], f"{one['count']:,}", "yes" if one["sound"] else "NO"]
                for one in document["looked_at"]
            ],
            right=(1,),
        )
    for problem in document["problems"]:
        page.item(f"{phrases.sentence(problem['words'])} ({problem['where']})")
    page.text(document["book"], 2)
    page.more("shearbolt backup TARGET  (a copy somewhere else)")
    return page.lines


def render_demo(document: DemoDocument, look: Look) -> list[str]:
    """Show the demonstration's yard and faults, and where its files lie."""
    page = Page(look)
    page.title("A demonstration: invented machines, filed from generated recordings")
    page.line(
        [
            phrases.many(len(document["files"]), "recording"),
            phrases.many(len(document["add"]["visits"]), "visit"),
        ],
        2,
    )
    page.named("Recordings", document["folder"])
    page.named("Book", document["book"])
    refused_lines(page, document["add"]["refused"])
    quiet = Look(look.width, look.emphasis, look.units, look.zone, hints=False)
    page.blank()
    page.lines += render_yard(document["yard"], quiet)
    page.blank()
    page.lines += render_faults(document["faults"], quiet)
    book = f"shearbolt --book {document['book']}"
    hints = [f"{book} yard"]
    for machine in document["faults"]["machines"]:
        if machine["faults"]:
            hints = [
                f"{book} fault {machine['faults'][0]['fault']}",
                f"{book} machine {machine['machine']}",
                *hints,
            ]
            break
    page.more(*hints)
    return page.lines
