"""The page itself: a typst document that reads the sheet's words from `sheet.json` beside it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from shearbolt.app.documents import HandoverSheet
from shearbolt.errors import ShearboltError

TRIES = ((9.5, 10.5), (9.5, 7.0), (8.5, 8.0), (8.5, 6.0), (7.8, 5.0), (7.0, 3.6))
"""Letters in points and most height of a picture in centimetres, tried until all stands on one
page."""
TEMPLATE = r"""
#let sheet = json("sheet.json")
#let size = float(sys.inputs.size) * 1pt
#let tall = float(sys.inputs.tall) * 1cm
#set document(title: sheet.machine + ": " + sheet.title, author: ())
#set page(paper: "a4", margin: (x: 1.5cm, top: 1.3cm, bottom: 1.2cm))
#set text(size: size, lang: "en", hyphenate: false)
#set par(leading: 0.5em, spacing: 0.55em)
#set list(indent: 0pt, spacing: 0.5em, body-indent: 0.4em)
#show heading.where(level: 1): it => text(size: 1.5em, weight: "bold", it.body)
#show heading.where(level: 2): it => block(
  above: 0.8em, below: 0.45em, text(size: 1.05em, weight: "bold", it.body),
)
#let part(name, items) = if items.len() > 0 [
  == #name
  #list(..items.map(it => [#it]))
]
// As large as its column and the height allow.
#let shown(it) = block(above: 1em, layout(room => {
  let picture = image(it.file, width: room.width, alt: it.alt)
  if measure(picture).height > tall { image(it.file, height: tall, alt: it.alt) } else { picture }
}))
#grid(columns: (1fr, auto), align: (left, right + bottom),
  [= #sheet.title], text(size: 1.2em, weight: "bold", sheet.machine))
#line(length: 100%, stroke: 0.8pt)
#sheet.facts.join(" · ")
#if sheet.advice != none [#block(above: 0.7em, strong[For the driver: ] + sheet.advice)]
#if sheet.cautions.len() > 0 [
  #block(stroke: 1.2pt, inset: 0.5em, width: 100%, above: 0.8em)[
    #strong[Caution]
    #list(..sheet.cautions.map(it => [#it]))
  ]
]
#grid(columns: (1fr, 1fr), column-gutter: 0.7cm,
  [
    #part("When", sheet.when)
    #part("Under which conditions", sheet.conditions)
    #if sheet.stored.len() > 0 [
      == Stored by the control unit
      #sheet.stored.join("; ")
    ]
    #if sheet.pictures.len() > 1 [#shown(sheet.pictures.at(1))]
  ],
  [
    #if sheet.suspects.len() > 0 [
      == What is behind it, as far as can be said
      #for one in sheet.suspects [
        #block(above: 0.45em, below: 0.3em)[#strong[#one.chance] #one.words]
        #if one.evidence.len() > 0 [
          #list(..one.evidence.map(it => [#it.words #emph[(#it.weight)]]))
        ]
      ]
      #if sheet.other != none [#sheet.other]
    ]
    #if sheet.pictures.len() > 0 [#shown(sheet.pictures.at(0))]
  ],
)
#part("What was checked and changed, and what came of it", sheet.done)
#part("Still open", sheet.questions)
#part("What the machine tells", sheet.tells)
#v(1fr)
#line(length: 100%, stroke: 0.4pt)
#text(size: 0.85em, sheet.made)
"""


def sheet_pdf(sheet: HandoverSheet, pictures: Mapping[str, tuple[str, str]]) -> bytes:
    """Set the page as PDF.

    pictures: SVG and words of each picture by its file name, at most two. The letters are as large
    as one page allows. Raises ShearboltError where not even the smallest do.
    """
    import typst

    with _laid_out(sheet, pictures) as main:
        for size, tall in TRIES:
            inputs = {"size": f"{size}", "tall": f"{tall}"}
            # The coarsest drawing there is: only the number of pages is wanted.
            tried = typst.compile(main, format="png", ppi=10.0, sys_inputs=inputs)
            if not isinstance(tried, list):
                return typst.compile(main, format="pdf", sys_inputs=inputs, pdf_standards="ua-1")
    raise ShearboltError(
        "The sheet does not fit on one page; shorten what was written down for this fault."
    )


def sheet_png(
    sheet: HandoverSheet, pictures: Mapping[str, tuple[str, str]], *, ppi: float = 96.0
) -> bytes:
    """Set the page at its largest letters as PNG, for looking at it on a screen."""
    import typst

    inputs = {"size": f"{TRIES[0][0]}", "tall": f"{TRIES[0][1]}"}
    with _laid_out(sheet, pictures) as main:
        made = typst.compile(main, format="png", ppi=ppi, sys_inputs=inputs)
    return made[0] if isinstance(made, list) else made


@contextmanager
def _laid_out(sheet: HandoverSheet, pictures: Mapping[str, tuple[str, str]]) -> Iterator[Path]:
    """Lay what the page is set from into a folder of its own, and give the document in it."""
    shown = [{"file": name, "alt": words} for name, (_, words) in pictures.items()]
    told = json.dumps({**sheet, "pictures": shown}, ensure_ascii=False)
    with TemporaryDirectory(prefix="shearbolt-sheet-") as made:
        folder = Path(made)
        (folder / "sheet.json").write_text(told, encoding="utf-8")
        for name, (svg, _) in pictures.items():
            (folder / name).write_text(svg, encoding="utf-8")
        main = folder / "sheet.typ"
        main.write_text(TEMPLATE, encoding="utf-8")
        yield main
