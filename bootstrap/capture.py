"""The README's picture and terminal text, made from a real run of the demo.

`python -m bootstrap pictures` writes docs/pictures/demo.svg and puts the text between the marks of
README.md; `tests/docs` holds the README's text against a run of its own.
"""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
from pathlib import Path
from xml.sax.saxutils import escape

from bootstrap.tree import PYTHON, ROOT, program

PICTURE = ROOT / "docs" / "pictures" / "demo.svg"
README = ROOT / "README.md"
BEGIN, END = "<!-- demo: made by `make pictures` -->\n", "<!-- end of demo -->\n"
LEFT_OUT = "  [...]"
"""Stands where the README leaves lines of the demo out."""
IDENTIFIER = re.compile(r"\b[fmv][0-9abcdefghjkmnpqrstvwxyz]{7}\b")
COLUMNS = 80
_MACHINES = ("the forager", "the loader wagon", "the pickup")
"""Machines whose faults the README shows."""
_YARD_MACHINES = 5
"""Machines of the yard that the picture shows."""
_FONT_PX, _CHARACTER_PX, _LINE_PX, _MARGIN_PX = 16, 9.7, 22, 20
_SPARE_PX = 40
"""For renderers that space letters a little wider than asked."""
_BOLD = re.compile(r"\x1b\[1m(.*?)\x1b\[0m")
_SEQUENCE = re.compile(r"\x1b\[[0-9;]*[A-Za-z]")


def demo_output(*, terminal: bool) -> list[str]:
    """Run the demo in a folder of its own, times in UTC, and return its lines.

    With `terminal` it is made to believe in one (not on Windows), so that headings are bold.
    """
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "TZ": "UTC", "COLUMNS": str(COLUMNS), "LINES": "50"}
        environment.pop("NO_COLOR", None)
        command = [str(program("shearbolt")), "demo"]
        if not terminal:
            done = subprocess.run(
                command, cwd=folder, env=environment, check=True, stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            return done.stdout.decode("utf-8").splitlines()
        return _in_terminal(command, Path(folder), environment)


def _in_terminal(command: list[str], folder: Path, environment: dict[str, str]) -> list[str]:
    import pty

    ours, theirs = pty.openpty()
    written = bytearray()
    with subprocess.Popen(
        command, cwd=folder, env=environment, stdin=theirs, stdout=theirs, stderr=subprocess.DEVNULL
    ) as child:
        os.close(theirs)
        try:
            while piece := os.read(ours, 1 << 16):
                written += piece
        except OSError:
            pass  # how Linux tells that the other end was closed
        os.close(ours)
    if child.returncode:
        raise SystemExit("The demo failed; run `make demo` to see why.")
    return written.decode("utf-8").splitlines()


def parts(lines: list[str]) -> tuple[list[str], list[str]]:
    """Pick what is shown of the demo: lines of the yard for the picture, of the faults as text.

    A mark stands where something is left out.
    """
    paragraphs = [part.split("\n") for part in re.split(r"\n(?=\S)", "\n".join(lines))]
    first = [_SEQUENCE.sub("", paragraph[0]) for paragraph in paragraphs]
    heading = next(i for i, text in enumerate(first) if text.startswith("The yard"))
    machines = int(re.findall(r"\d+", first[heading])[0])
    faults = heading + 1 + machines
    yard = set(range(heading + 1 + _YARD_MACHINES))
    wanted = {
        i
        for i in range(faults, len(first))
        if first[i].startswith("More:") or first[i] in _MACHINES
    }
    return _some(paragraphs[:faults], yard)[:-1], _some(paragraphs, wanted)[2:]


def _some(paragraphs: list[list[str]], wanted: set[int]) -> list[str]:
    shown: list[str] = []
    for i, paragraph in enumerate(paragraphs):
        if i in wanted:
            shown += paragraph
        elif not shown or shown[-2] != LEFT_OUT:
            shown += [LEFT_OUT, ""]
    return shown


def picture(lines: list[str]) -> str:
    """Draw lines of a terminal as an SVG, black on white, with no font named and nothing loaded."""
    width = round(COLUMNS * _CHARACTER_PX + 2 * _MARGIN_PX + _SPARE_PX)
    height = len(lines) * _LINE_PX + 2 * _MARGIN_PX
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}"'
        ' role="img" aria-label="What make demo prints">',
        f'<rect width="{width}" height="{height}" rx="8" fill="#fff" stroke="#888"/>',
        f'<g font-family="monospace" font-size="{_FONT_PX}" fill="#111">',
    ]
    for row, line in enumerate(lines):
        y = _MARGIN_PX + row * _LINE_PX + _FONT_PX
        at = 0
        for i, part in enumerate(_BOLD.split(line)):
            text = _SEQUENCE.sub("", part)
            body = text.strip()
            if body:
                x = _MARGIN_PX + (at + len(text) - len(text.lstrip())) * _CHARACTER_PX
                weight = ' font-weight="bold"' if i % 2 else ""
                # Whatever font there is, each run takes the room that it has in a terminal.
                drawn.append(
                    f'<text x="{x:g}" y="{y}" textLength="{len(body) * _CHARACTER_PX:g}"'
                    f'{weight} xml:space="preserve">{escape(body)}</text>'
                )
            at += len(text)
    return "\n".join([*drawn, "</g>", "</svg>", ""])


def readme_with(text: str, lines: list[str]) -> str:
    """Put lines between the marks of the README's text."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    block = "\n".join(["", "```text", *lines, "```", ""])
    return f"{before}{BEGIN}{block}\n{END}{after}"


def main() -> None:
    """Make both anew."""
    if not PYTHON.exists():
        raise SystemExit("Run `python -m bootstrap pictures`, which sets up what this needs.")
    yard, faults = parts(demo_output(terminal=True))
    plain = [_SEQUENCE.sub("", line).rstrip() for line in faults]
    PICTURE.parent.mkdir(parents=True, exist_ok=True)
    _write(PICTURE, picture(yard))
    _write(README, readme_with(README.read_text(encoding="utf-8"), plain))


def same_identifiers(text: str) -> str:
    """Put one mark in place of every identifier, which each run draws anew."""
    return IDENTIFIER.sub("an-ident", text)


def _write(path: Path, text: str) -> None:
    """Write a file, unless nothing but identifiers would change."""
    known = path.read_text(encoding="utf-8") if path.exists() else ""
    if same_identifiers(known) != same_identifiers(text):
        path.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
