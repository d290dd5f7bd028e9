"""One contract for every kind of recording, plain and compressed: what goes in comes out,
damage costs no more than what it hit, and nothing but one clear sentence is ever raised."""

from __future__ import annotations

import gzip
import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
import zstandard

from shearbolt.errors import EmptyRecording, ForeignRecording, RecordingError
from shearbolt.model.frames import (
    BITRATE_SWITCH,
    ERROR,
    ERROR_STATE,
    EXTENDED,
    FD,
    REMOTE,
    SENT,
    Frames,
    PlainFrame,
    frames_from,
    plain_frames,
)
from shearbolt.recordings import Recording, open_recording
from shearbolt.recordings.writing import (
    write_asc,
    write_blf,
    write_candump,
    write_mdf4,
    write_pycan_csv,
    write_trc,
)

START_US = 1_777_700_000_250_000


@dataclass(frozen=True)
class Form:
    """One kind of recording: how it is written, and what it can hold."""

    name: str
    write: Callable[[Path, Frames], None]
    holds: int = REMOTE | ERROR | FD | SENT
    """Flags of frames that it can hold."""
    channels: bool = True
    step_us: int = 0
    """Largest error of a time."""
    text: bool = True
    ties: bool = True
    """Its order of frames of one instant is that of the file."""

    def fits(self, frame: PlainFrame) -> bool:
        kinds = frame.flags & (REMOTE | ERROR | FD)
        return kinds & self.holds == kinds

    def kept(self, frame: PlainFrame) -> PlainFrame:
        """Return what is left of a frame in this kind."""
        out = frame
        if not self.holds & SENT:
            out = replace(out, flags=out.flags & ~SENT)
        if not self.holds & FD:
            out = replace(out, flags=out.flags & ~(FD | BITRATE_SWITCH | ERROR_STATE))
        return out if self.channels else replace(out, channel="0")


def small_blf(path: Path, frames: Frames) -> None:
    """Write containers of a few frames each, so that objects run over their ends."""
    write_blf(path, frames, max_container_size=700)


def write_table(path: Path, frames: Frames) -> None:
    """Write a table as a spreadsheet would."""
    rows = ["Time [ms];Bus;CAN-ID;Dir;DLC;Data"]
    for one in plain_frames(frames):
        way = "Tx" if one.flags & SENT else "Rx"
        ident = f"{one.ident:08X}" if one.flags & EXTENDED else f"{one.ident:03X}"
        rows.append(
            f"{one.time_us / 1000:.3f};{one.channel};{ident};{way};{len(one.data)};"
            f"{one.data.hex(' ').upper()}"
        )
    path.write_text("\r\n".join(rows) + "\r\n")


FORMS = [
    Form("candump", write_candump),
    Form("asc", write_asc),
    Form("blf", small_blf, text=False),
    Form("trc", write_trc, holds=SENT),
    # FD frames of eight bytes or fewer cannot be told from classic ones in it.
    Form("csv", write_pycan_csv, holds=REMOTE | ERROR, channels=False),
    Form("table", write_table, holds=SENT),
    # Its groups (data, remote and error frames) have no common order but time.
    Form("mdf4", write_mdf4, text=False, ties=False),
]
PACKED: dict[str, Callable[[bytes], bytes]] = {
    "plain": lambda data: data,
    "gzip": gzip.compress,
    "gzip in two members": lambda data: (
        gzip.compress(data[: len(data) // 3]) + gzip.compress(data[len(data) // 3 :])
    ),
    "zstd": zstandard.ZstdCompressor().compress,
    "zstd in two frames": lambda data: (
        zstandard.ZstdCompressor().compress(data[: len(data) // 3])
        + zstandard.ZstdCompressor().compress(data[len(data) // 3 :])
    ),
}


def mixed(
    count: int = 120, kinds: int = REMOTE | ERROR | FD | SENT, *, ties: bool = True
) -> list[PlainFrame]:
    """Make frames of every kind, on two channels, with some equal instants."""
    dice = random.Random(7)
    at = START_US
    out = []
    for i in range(count):
        at += dice.choice((0 if ties else 3, 1, 250, 999, 10_000, 1_234_567))
        extended = i % 4 != 1
        flags = EXTENDED if extended else 0
        ident = dice.randrange(1 << (29 if extended else 11))
        channel = "2" if i % 7 == 3 else "1"
        if i % 9 == 5:
            flags |= SENT
        if i % 10 == 7:
            one = PlainFrame(at, ident, b"", flags | REMOTE, channel, dice.randrange(9))
        elif i % 13 == 11:
            one = PlainFrame(at, 0, b"", ERROR, channel)
        elif i % 11 == 4:
            flags |= FD | dice.choice(
                (0, BITRATE_SWITCH, ERROR_STATE, BITRATE_SWITCH | ERROR_STATE)
            )
            size = dice.choice((0, 3, 8, 12, 16, 20, 24, 32, 48, 64))
            one = PlainFrame(at, ident, dice.randbytes(size), flags, channel)
        else:
            one = PlainFrame(
                at, ident, dice.randbytes(dice.choice((0, 3, 8, 8, 8))), flags, channel
            )
        if one.flags & (REMOTE | ERROR | FD) & ~kinds == 0:
            out.append(one)
    return out


def read(recording: Recording) -> list[PlainFrame]:
    """Read all frames, their instants made absolute by the header where it names a start."""
    out = []
    for block in recording.blocks():
        out += plain_frames(block)
    return out


def without_details(frame: PlainFrame) -> PlainFrame:
    """Leave out what an error frame carries beside its channel: no bus data."""
    if frame.flags & ERROR:
        return PlainFrame(frame.time_us, 0, b"", ERROR, frame.channel)
    return frame


def same(form: Form, got: list[PlainFrame], wanted: list[PlainFrame]) -> None:
    """Compare frame by frame, instants against the first one's."""
    assert len(got) == len(wanted)
    for one, other in zip(got, wanted, strict=True):
        expected = form.kept(without_details(other))
        shift = got[0].time_us - wanted[0].time_us
        assert abs(one.time_us - other.time_us - shift) <= form.step_us
        assert replace(without_details(one), time_us=0) == replace(expected, time_us=0)


@pytest.fixture(params=FORMS, ids=lambda form: str(form.name))
def form(request: pytest.FixtureRequest) -> Form:
    found = request.param
    assert isinstance(found, Form)
    return found


@pytest.mark.parametrize("packing", PACKED)
def test_what_goes_in_comes_out(form: Form, packing: str, tmp_path: Path) -> None:
    wanted = mixed(kinds=form.holds, ties=form.ties)
    raw = tmp_path / "raw"
    form.write(raw, frames_from(wanted))
    path = tmp_path / "named-to-mislead.pdf"
    path.write_bytes(PACKED[packing](raw.read_bytes()))
    recording = open_recording(path)
    assert recording.format == form.name
    done: list[int] = []
    got = []
    for block in recording.blocks(done.append):
        got += plain_frames(block)
    same(form, got, wanted)
    assert recording.not_read() == ()
    assert done == sorted(done)
    assert done[-1] <= path.stat().st_size
    assert read(recording) == got, "a second pass gives the same"


def test_the_start_is_known(form: Form, tmp_path: Path) -> None:
    wanted = mixed(30, 0)
    form.write(tmp_path / "raw", frames_from(wanted))
    recording = open_recording(tmp_path / "raw")
    got = read(recording)
    if form.name == "asc":
        # Its header is in local time and in whole milliseconds.
        assert recording.started_us is not None
        assert recording.time_base == "relative"
        return
    absolute = got[0].time_us + (recording.started_us or 0)
    assert abs(absolute - wanted[0].time_us) <= (1 if form.name == "trc" else 0)
    assert (recording.time_base == "absolute") == (recording.started_us is None)


def test_damage_in_the_middle_costs_only_what_it_hit(form: Form, tmp_path: Path) -> None:
    wanted = mixed(120, 0)
    path = tmp_path / "raw"
    form.write(path, frames_from(wanted))
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    if form.text:
        begin = data.index(b"\n", middle) + 1
        data[begin : begin + 20] = b"\x00\xff@@ damage @@ \x80\x81##"
    else:
        for i in range(middle, middle + 8):
            data[i] ^= 0x55
    path.write_bytes(data)
    recording = open_recording(path)
    got = [form.kept(replace(one, time_us=0)) for one in read(recording)]
    known = [form.kept(replace(one, time_us=0)) for one in wanted]
    assert len(got) >= (len(known) - 1 if form.text else len(known) * 3 // 4)
    first_bad = next((i for i, one in enumerate(got) if one != known[i]), len(got))
    behind = 0
    while behind < len(got) and got[-1 - behind] == known[-1 - behind]:
        behind += 1
    assert first_bad >= 35
    assert behind >= 40
    if form.name != "mdf4":
        # Bytes of plain records that are merely changed are no visible damage in MDF 4.
        assert sum(one.count for one in recording.not_read()) >= 1
        place = recording.not_read()[0]
        assert place.line if form.text else place.byte
        wrong = [one for one in got if one not in known]
        assert len(wrong) <= (0 if form.text else 1)


@pytest.mark.parametrize("packing", ["plain", "gzip", "zstd"])
def test_a_file_cut_anywhere_gives_what_came_before(
    form: Form, packing: str, tmp_path: Path
) -> None:
    wanted = [form.kept(replace(one, time_us=0)) for one in mixed(60, 0)]
    path = tmp_path / "raw"
    form.write(path, frames_from(mixed(60, 0)))
    data = PACKED[packing](path.read_bytes())
    dice = random.Random(3)
    most = 0
    count = 8 if form.name == "mdf4" else 60
    for cut in sorted({0, 1, len(data) - 1, *(dice.randrange(len(data)) for _ in range(count))}):
        path.write_bytes(data[:cut])
        # Anything but a RecordingError fails the test.
        got = []
        with suppress(RecordingError):
            got = [replace(one, time_us=0) for one in read(open_recording(path))]
        whole = got if form.name != "candump" else got[:-1]
        assert whole == wanted[: len(whole)]
        most = max(most, len(got))
    # zstd packs so small a file as one block; the library of MDF 4 needs the whole file.
    if packing != "zstd" and form.name != "mdf4":
        assert most > 40


def test_an_empty_file_gets_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "nothing.log"
    path.touch()
    with pytest.raises(EmptyRecording, match="is empty, zero bytes long") as caught:
        open_recording(path)
    assert str(path) in caught.value.sentence


def test_a_file_with_only_a_header_gets_one_sentence(form: Form, tmp_path: Path) -> None:
    path = tmp_path / "raw"
    frames = mixed(5, 0)
    form.write(path, frames_from(frames))
    if form.name in ("candump", "mdf4"):
        pytest.skip("has no header of its own, or is written with a frame at least")
    whole = path.read_bytes()
    if form.name == "blf":
        header = whole[:144]
    else:
        lines = whole.splitlines(keepends=True)
        last = 1 if form.name == "asc" else 0
        header = b"".join(lines[: len(lines) - len(frames) - last])
    path.write_bytes(header)
    with pytest.raises(EmptyRecording, match="holds no frame"):
        read(open_recording(path))


FOREIGN = {
    "prose": b"It rained on Tuesday,\nand the hay stayed where it was.\n" * 20,
    "bytes": random.Random(1).randbytes(5000),
    "nul bytes": bytes(4000),
    "spreadsheet": b"PK\x03\x04" + random.Random(2).randbytes(500),
    "office": b"\xd0\xcf\x11\xe0" + random.Random(2).randbytes(500),
    "pdf": b"%PDF-1.7\n" + random.Random(3).randbytes(500),
    "bank": b"date,amount,text\n2026-01-02,4.10,bread\n2026-01-03,99.00,twine\n" * 9,
    "json": b'{"frames": [1, 2, 3]}\n',
    "one line": b"hello",
    "mdf 3": b"MDF     3.30    " + bytes(200),
    "bzip2": b"BZh91AY&SY" + random.Random(4).randbytes(300),
    "gzip of prose": gzip.compress(b"Nothing of interest.\n" * 50),
    "gzip of nothing": gzip.compress(b""),
}


@pytest.mark.parametrize("kind", FOREIGN)
def test_a_foreign_file_gets_one_sentence(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "recording.asc"
    path.write_bytes(FOREIGN[kind])
    with pytest.raises(ForeignRecording) as caught:
        open_recording(path)
    assert caught.value.sentence.startswith(str(path))
    assert caught.value.sentence.endswith(".")
    assert "\n" not in caught.value.sentence


def test_what_is_no_file_gets_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="is a folder"):
        open_recording(tmp_path)
    with pytest.raises(RecordingError, match="there is no such file"):
        open_recording(tmp_path / "none.log")
