"""Writing a handover: the evidence, the pictures, and the page, as one new folder."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

from shearbolt.app.documents import FileWritten, HandoverDocument, Progress, Wording
from shearbolt.app.handing import Handed, hand_over_evidence
from shearbolt.app.picturing.documents import Picture
from shearbolt.errors import UsageError
from shearbolt.handover.sheet import sheet_pdf
from shearbolt.pictures import draw, table_of

ON_THE_PAGE = 2
"""Pictures that the page has room for."""
NARROW = 460
"""Width in px at which pictures are drawn for the page: its letters stay large enough."""


def hand_over(
    book: Path, which: str, folder: str, *, progress: Progress, wording: Wording
) -> HandoverDocument:
    """Write the page and its evidence into a new folder; nothing stays there when it fails.

    Raises NotInBook, UsageError where the folder is there already or cannot be written.
    """
    target = Path(folder)
    if target.exists():
        raise UsageError(f"{target}: there is something of this name already; choose a new one.")
    aside = target.with_name(target.name + ".part")
    try:
        if aside.exists():
            shutil.rmtree(aside)
        aside.mkdir(parents=True)
        handed = hand_over_evidence(book, which, aside, progress=progress, wording=wording)
        _pictures(handed, aside)
        progress(0, 0, "Setting the page")
        data = sheet_pdf(handed.sheet, chosen(handed))
        _put(aside, "sheet.pdf", data, "the page for the technician", handed.files)
        aside.rename(target)
    except OSError as trouble:
        raise UsageError(f"{target} cannot be written: {trouble.strerror}.") from None
    finally:
        if aside.exists():
            shutil.rmtree(aside)
    return {
        "schema": "shearbolt/handover/1",
        "machine": handed.machine,
        "machine_name": handed.machine_name,
        "fault": handed.fault,
        "folder": str(target),
        "pages": 1,
        "sheet": handed.sheet,
        "files": handed.files,
    }


def chosen(handed: Handed) -> dict[str, tuple[str, str]]:
    """Choose the pictures of the page, those that show something first: SVG and words by name."""
    found: dict[str, tuple[str, str]] = {}
    for view in ("spell", "conditions", "life"):
        picture = handed.pictures.get(view)
        if picture is not None and shows(picture) and len(found) < ON_THE_PAGE:
            found[f"{view}.svg"] = (draw(picture, width=NARROW), _words(picture))
    return found


def shows(picture: Picture) -> bool:
    """Tell whether a picture has anything to show."""
    if picture["what"] == "spell":
        return bool(picture["strips"])
    if picture["what"] == "conditions":
        return bool(picture["panels"])
    return bool(table_of(picture).rows)


def _words(picture: Picture) -> str:
    table = table_of(picture)
    return ". ".join(one for one in (table.title, *table.lines) if one)


def _pictures(handed: Handed, folder: Path) -> None:
    for view, picture in handed.pictures.items():
        if shows(picture):
            data = draw(picture).encode()
            _put(folder, f"pictures/{view}.svg", data, f"picture: {view}", handed.files)


def _put(folder: Path, name: str, data: bytes, words: str, files: list[FileWritten]) -> None:
    target = folder / name
    target.parent.mkdir(exist_ok=True)
    target.write_bytes(data)
    digest = hashlib.sha256(data).hexdigest()
    files.append({"file": name, "bytes": len(data), "sha256": digest, "words": words})
