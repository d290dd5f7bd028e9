"""Bringing recordings in: read, decode, recognise, file; all of a visit or none of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from shearbolt.app.aside import Aside
from shearbolt.app.composing.labels import suggested_name
from shearbolt.app.composing.visits import HEARD
from shearbolt.app.documents import Progress
from shearbolt.app.now import now_us
from shearbolt.app.placing import place_in_hours, place_in_time
from shearbolt.app.quality import quality_of
from shearbolt.app.recognition import Known, Part, Recognised, recognise, split
from shearbolt.app.wording import keep
from shearbolt.book import Book, Fault, NewVisit, Reads, StagedVisit, Visit, Writer, hash_file
from shearbolt.decode.columns import DecodedBlock
from shearbolt.decode.losses import Losses
from shearbolt.decode.state import StateBuilder
from shearbolt.decode.visit import decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.quantities import state_spns
from shearbolt.errors import EmptyRecording, NotInBook, RecordingError
from shearbolt.kernels import Groups
from shearbolt.model.fault import MAKER_SPN, FaultKey
from shearbolt.model.frames import Frames
from shearbolt.model.instants import SECOND_US, Instant
from shearbolt.model.message import Message
from shearbolt.model.reading import TimeBase
from shearbolt.model.state import StateTable
from shearbolt.model.visit import Quality, VisitContent
from shearbolt.recordings import Recording, TableColumns, open_recording, unpacked_sha256

NOTES = ".events"
"""Ending of what a listener notes beside a recording of the same name."""
NO_FRAME = "holds no frame."


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person said about the recordings brought in."""

    machine: str | None = None
    start_us: Instant | None = None
    hours: float | None = None
    columns: TableColumns | None = None


@dataclass(frozen=True, slots=True)
class Heard:
    """What is known of a recording beside its frames, because it was made by listening here."""

    lost: bool
    """Frames are known to be missing."""
    doubts: tuple[str, ...] = ()
    """Kept words (`wording.keep`)."""
    happened: tuple[tuple[Instant, str], ...] = ()
    """Instants on the recording's own clock, with kept words."""
    carried: bool = False
    """It was made by an unattended listener and carried here as a file: a recording."""

    def quality(self, measured: Quality) -> Quality:
        """Judge it: what was listened to here without any loss known is complete, unless the
        beat of its groups says otherwise.
        """
        if self.lost:
            return "lossy"
        return "complete" if measured == "unknown" else measured


@dataclass(frozen=True, slots=True)
class Filed:
    """What became of one recording."""

    visit: Visit
    already: bool


def expand(files: Sequence[str]) -> list[Path]:
    """Turn folders into the files they hold, in order of their names.

    Hidden ones are left out, and the notes that a listener keeps beside its recordings.
    """
    paths: list[Path] = []
    for one in files:
        path = Path(one)
        if path.is_dir():
            held = sorted(
                child
                for child in path.rglob("*")
                if child.is_file()
                and not any(part.startswith(".") for part in child.relative_to(path).parts)
            )
            stems = {
                child.parent / child.name.split(".", 1)[0]
                for child in held
                if child.suffix != NOTES
            }
            paths.extend(
                child
                for child in held
                if child.suffix != NOTES or child.with_suffix("") not in stems
            )
        else:
            paths.append(path)
    return paths


def own_time_us(path: Path, recording: Recording, asked: Asked) -> Instant:
    """Return about when a recording began, to file several in their order."""
    if asked.start_us is not None:
        return asked.start_us
    blocks = recording.blocks()
    try:
        first_us = int(next(blocks).time_us[0])
    finally:
        close = getattr(blocks, "close", None)
        if close is not None:
            close()
    if recording.time_base is TimeBase.ABSOLUTE:
        return first_us
    if recording.started_us is not None:
        return recording.started_us + first_us
    return path.stat().st_mtime_ns // 1000


@dataclass(frozen=True, slots=True)
class Read:
    """A recording that was read and decoded: all that filing needs beside the staged files."""

    path: Path
    format: str
    started_us: Instant | None
    """Start that the file's own header names, where times are relative."""
    content: VisitContent
    quality: Quality
    file_us: Instant
    """Date of the file."""
    unpacked_sha256: str | None
    """Of its bytes once unpacked; None where it came unpacked."""


class Staging(Protocol):
    """Where a recording's frames and messages go while it is read."""

    def frames(self, block: Frames, grouped: Groups | None = None) -> None:
        """Append frames, with their order by groups where it is known. Raises BookError."""

    def messages(self, messages: Iterable[Message]) -> None:
        """Append reassembled messages. Raises BookError."""

    def state(self, table: StateTable) -> None:
        """Keep the second-by-second state. Raises BookError."""


def read_recording(
    stage: Staging,
    path: Path,
    recording: Recording,
    dictionary: Dictionary,
    on_bytes: Callable[[int], None],
) -> Read:
    """Read and decode a recording; its frames and long messages go to `stage`.

    `on_bytes` is told how many bytes of the file were worked off. Raises RecordingError when it
    holds no frame, BookError when what it holds cannot be staged.
    """
    losses = Losses()
    state = StateBuilder(state_spns())
    frames = 0

    def keep_block(block: DecodedBlock) -> None:
        nonlocal frames
        frames += len(block.frames)
        stage.frames(block.frames, block.grouped)
        stage.messages(block.messages)
        losses.feed(block)
        state.feed(block.columns())

    # What is kept of a block takes about as long as to decode the next.
    with Aside(keep_block) as keeping:
        content = decode_recording(
            recording.blocks(on_bytes),
            dictionary,
            recording.time_base,
            not_read=recording.not_read,
            doubts=recording.doubts,
            each=keeping.hand,
        )
    if not frames:
        raise EmptyRecording(path.name, NO_FRAME)
    stage.state(state.finish())
    return Read(
        path,
        recording.format,
        recording.started_us,
        content,
        quality_of(content, losses.groups),
        path.stat().st_mtime_ns // 1000,
        unpacked_sha256(path),
    )


def file_recording(
    book: Book,
    path: Path,
    recording: Recording,
    dictionary: Dictionary,
    asked: Asked,
    progress: Progress,
    heard: Heard | None = None,
    ahead: StagedVisit | None = None,
) -> Filed:
    """Bring one recording in; `heard` makes it a live visit, whose file nobody else knows.

    `ahead`: a stage in which its packing was begun. Raises RecordingError when it holds no frame,
    BookError when it cannot be kept.
    """
    size = path.stat().st_size
    known = known_already(book, path, size)
    if known is not None:
        return Filed(known, True)
    with ahead or book.stage() as stage:
        job = stage.job or stage.evidence(path)
        words = f"Reading {path.name}"
        read = read_recording(
            stage, path, recording, dictionary, lambda done: progress(done, size, words)
        )
        progress(size, size, f"Keeping {path.name}")
        return file_read(book, stage, read, job.wait(), asked, heard)


def file_read(
    book: Book,
    stage: StagedVisit,
    read: Read,
    sha256: str,
    asked: Asked,
    heard: Heard | None = None,
) -> Filed:
    """File a recording that was read into a stage, unless the book holds the same bytes already.

    Raises BookError when it cannot be kept.
    """
    with book.writing() as writer:
        # Asked by the one writer: another program may have brought the same in meanwhile.
        for one in (sha256, read.unpacked_sha256):
            known = writer.visit_by_sha256(one) if one is not None else None
            if known is not None:
                return Filed(known, True)
        return Filed(_file(writer, stage, read, asked, heard), False)


def known_already(book: Book, path: Path, size: int) -> Visit | None:
    """Find the visit of a recording that was brought in before.

    Hashing is left until a recording of the same size makes it worth while.
    """
    if not book.holds_size(size):
        return None
    return book.visit_by_sha256(hash_file(path))


def fleet(writer: Reads) -> list[Known]:
    """Read what the book knows of every machine's identity."""
    return [
        Known(one, tuple(writer.controllers(one.id)), tuple(writer.boxes(one.id)))
        for one in writer.machines()
    ]


def _file(
    writer: Writer, stage: StagedVisit, read: Read, asked: Asked, heard: Heard | None
) -> Visit:
    content = read.content
    now = now_us()
    placed = place_in_time(
        content,
        header_us=read.started_us,
        given_us=asked.start_us,
        file_us=read.file_us,
        now_us=now,
    )
    machines = fleet(writer)
    given = _given(writer, machines, asked.machine, now)
    parts = split(content) or (Part((), None, False),)
    found: list[tuple[Recognised, str]] = []
    for i, part in enumerate(parts):
        one = recognise(part, content, machines, given if i == 0 else None)
        found.append((one, _machine_of(writer, one, content, now)))
    seats = _seat(writer, content, found, now)
    main, main_id = found[0]
    hours = place_in_hours(content, main.part.senders, asked.hours)
    doubts = [*placed.doubts, *hours.doubts]
    for one, _ in found:
        doubts.extend(one.doubts)
    engines = [one for one, _ in found if not one.part.implement]
    if len(engines) > 1:
        names = [writer.machine(id_).name for one, id_ in found if not one.part.implement]
        doubts.append(keep("two_machines", names[0], names[1]))
    if content.pauses:
        longest = max(end - start for start, end in content.pauses)
        doubts.append(keep("pauses", len(content.pauses), round(longest / SECOND_US)))
    if heard is not None:
        doubts.extend(heard.doubts)
    unread = sum(one.count for one in content.not_read)
    if unread:
        doubts.append(keep("damaged", unread))
    unsettled = {one.key.address for one in content.faults if one.method == 0}
    for address in sorted(one for one in unsettled if one is not None):
        doubts.append(keep("ambiguous_method", address))
    owner_of = {i: machine for (recognised, machine) in found for i in recognised.part.senders}
    visit = writer.file(
        stage,
        NewVisit(
            kind="recording" if heard is None or heard.carried else "live",
            machine=main_id,
            others=tuple(dict.fromkeys(id_ for _, id_ in found[1:] if id_ != main_id)),
            content=content,
            filed_us=now,
            file=str(read.path) if heard is None or heard.carried else None,
            format=read.format,
            quality=read.quality if heard is None else heard.quality(read.quality),
            start_from=placed.start_from,
            zero_us=placed.zero_us,
            unpacked_sha256=read.unpacked_sha256,
            hours_start=hours.start,
            hours_end=hours.end,
            hours_from=hours.hours_from,
            vin=main.part.vin,
            component=_component(content, main.part),
            software=tuple(
                field
                for i in main.part.senders
                for field in content.controllers[i].software
                if field
            ),
            recognised_by=main.by,
            doubts=tuple(dict.fromkeys(doubts)),
            controllers=seats,
            faults=_faults(writer, content, seats, owner_of, main_id, now),
        ),
    )
    for at_us, words in heard.happened if heard is not None else ():
        detail = (("words", words),)
        writer.add_event(main_id, HEARD, now_us=now, visit=visit.id, at_us=at_us, detail=detail)
    return visit


def _given(
    writer: Writer, machines: Sequence[Known], named: str | None, now: Instant
) -> Known | None:
    """Find the machine that the person named, or add one of that name."""
    if named is None:
        return None
    try:
        wanted = writer.machine(named)
    except NotInBook:
        wanted = writer.add_machine(named, name_given=True, now_us=now, kind="machine")
    known = next((one for one in machines if one.machine.id == wanted.id), None)
    return known or Known(wanted, (), ())


def _machine_of(writer: Writer, found: Recognised, content: VisitContent, now: Instant) -> str:
    """Return the machine's id; a machine not met before gets a fresh entry with a made-up name."""
    vin = found.part.vin
    if found.known is not None:
        machine = writer.machine(found.known.machine.id)
        if vin and machine.vin is None and all(one.vin != vin for one in writer.machines()):
            writer.change_machine(machine.id, vin=vin)
        return machine.id
    seen = [content.controllers[i] for i in found.part.senders]
    name = suggested_name(
        [one.name for one in seen if one.name is not None],
        vin,
        found.part.implement,
        any(one.address > 0xFF for one in seen),
        {one.name for one in writer.machines()},
    )
    kind = "implement" if found.part.implement else "machine"
    return writer.add_machine(name, name_given=False, now_us=now, kind=kind, vin=vin).id


def _seat(
    writer: Writer,
    content: VisitContent,
    found: Sequence[tuple[Recognised, str]],
    now: Instant,
) -> tuple[str | None, ...]:
    """Give every sender its place on its machine."""
    seats: list[str | None] = [None] * len(content.controllers)
    for recognised, machine in found:
        # Senders with a NAME first: one without takes the place that last held its address.
        order = sorted(recognised.part.senders, key=lambda i: content.controllers[i].name is None)
        for i in order:
            seen = content.controllers[i]
            place = seen.name.place if seen.name is not None else None
            seats[i] = writer.ensure_controller(
                machine, place=place, address=seen.address, now_us=now
            ).id
    return tuple(seats)


def _faults(
    writer: Writer,
    content: VisitContent,
    seats: Sequence[str | None],
    owner_of: dict[int, str],
    main: str,
    now: Instant,
) -> tuple[str | None, ...]:
    """Find or add the fault of each code seen."""
    sender = {(one.channel, one.address): i for i, one in enumerate(content.controllers)}
    ids: list[str | None] = []
    for fault in content.faults:
        key = fault.key
        i = sender.get((key.channel, key.address)) if key.address is not None else None
        machine = owner_of.get(i, main) if i is not None else main
        seat = seats[i] if i is not None else None
        name = content.controllers[i].name if i is not None else None
        maker = key.spn is not None and key.spn >= MAKER_SPN and name is not None
        manufacturer_code = name.manufacturer_code if maker and name else None
        function = name.function if maker and name else None
        written = _written_down(writer, machine, key, content) if seat is not None else None
        if written is not None and seat is not None:
            writer.place_fault(
                written, seat, manufacturer_code=manufacturer_code, function=function
            )
            ids.append(written)
            continue
        ids.append(
            writer.ensure_fault(
                machine,
                seat,
                key.kind,
                now_us=now,
                spn=key.spn,
                fmi=key.fmi,
                code=key.code,
                manufacturer_code=manufacturer_code,
                function=function,
            ).id
        )
    return tuple(ids)


def _written_down(writer: Writer, machine: str, key: FaultKey, content: VisitContent) -> str | None:
    """Return the fault that a person wrote down before the bus ever told of it.

    Only where it is certain: one fits, no controller is known for that code yet, and one alone
    tells of it here; an address that the person named is that of the sender.
    """

    def code_of(one: FaultKey | Fault) -> tuple[str, int | None, int | None, str | None]:
        return one.kind, one.spn, one.fmi, one.code

    alike = [one for one in writer.faults(machine) if code_of(one) == code_of(key)]
    here = [one for one in content.faults if code_of(one.key) == code_of(key)]
    if len(alike) != 1 or alike[0].controller is not None or len(here) != 1:
        return None
    named = {one.seen.key.address for one in writer.sightings(alike[0].id)} - {None}
    return alike[0].id if named <= {key.address} else None


def _component(content: VisitContent, part: Part) -> str | None:
    """Return the component identification of the machine: the lowest address that told one."""
    told = sorted(
        (content.controllers[i] for i in part.senders if any(content.controllers[i].component)),
        key=lambda one: one.address,
    )
    return "*".join(told[0].component) if told else None


def open_all(
    paths: Sequence[Path], asked: Asked, *, timed: bool = True
) -> tuple[list[tuple[Instant, Path, Recording]], list[tuple[str, str]]]:
    """Open the files and put them in the order of their own times; tell those refused.

    `timed` False: leave them in the order given, with no time looked for (it takes the reading of
    a whole block).
    """
    opened: list[tuple[Instant, Path, Recording]] = []
    refused: list[tuple[str, str]] = []
    for path in paths:
        try:
            recording = open_recording(path, columns=asked.columns)
            at_us = own_time_us(path, recording, asked) if timed else 0
            opened.append((at_us, path, recording))
        except RecordingError as trouble:
            refused.append((str(path), trouble.reason))
        except StopIteration:
            refused.append((str(path), NO_FRAME))
    opened.sort(key=lambda one: one[0])
    return opened, refused
