"""Bringing recordings in: read, decode, recognise, file; all of a visit or none of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from shearbolt.app.composing.labels import suggested_name
from shearbolt.app.documents import Progress
from shearbolt.app.now import now_us
from shearbolt.app.placing import place_in_hours, place_in_time
from shearbolt.app.quality import quality_of
from shearbolt.app.recognition import Known, Part, Recognised, recognise, split
from shearbolt.app.wording import keep
from shearbolt.book import Book, NewVisit, StagedVisit, Visit, Writer, hash_file
from shearbolt.decode.columns import DecodedBlock
from shearbolt.decode.losses import Losses
from shearbolt.decode.visit import decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.names import function_text
from shearbolt.errors import NotInBook, RecordingError
from shearbolt.model.fault import MAKER_SPN
from shearbolt.model.instants import SECOND_US, Instant
from shearbolt.model.reading import TimeBase
from shearbolt.model.visit import Quality, VisitContent
from shearbolt.recordings import Recording, TableColumns, open_recording


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person said about the recordings brought in."""

    machine: str | None = None
    start_us: Instant | None = None
    hours: float | None = None
    columns: TableColumns | None = None


@dataclass(frozen=True, slots=True)
class Filed:
    """What became of one recording."""

    visit: Visit
    already: bool


def expand(files: Sequence[str]) -> list[Path]:
    """Turn folders into the files they hold, hidden ones left out, in order of their names."""
    paths: list[Path] = []
    for one in files:
        path = Path(one)
        if path.is_dir():
            paths.extend(
                sorted(
                    child
                    for child in path.rglob("*")
                    if child.is_file()
                    and not any(part.startswith(".") for part in child.relative_to(path).parts)
                )
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


def file_recording(
    book: Book,
    path: Path,
    recording: Recording,
    dictionary: Dictionary,
    asked: Asked,
    progress: Progress,
) -> Filed:
    """Bring one recording in.

    Raises RecordingError when it holds no frame, BookError when it cannot be kept.
    """
    status = path.stat()
    known = _known_already(book, path, status.st_size)
    if known is not None:
        return Filed(known, True)
    with book.stage() as stage:
        job = stage.evidence(path)
        losses = Losses()

        def keep_block(block: DecodedBlock) -> None:
            stage.frames(block.frames)
            stage.messages(block.messages)
            losses.feed(block)

        words = f"Reading {path.name}"
        content = decode_recording(
            recording.blocks(lambda done: progress(done, status.st_size, words)),
            dictionary,
            recording.time_base,
            not_read=recording.not_read,
            doubts=recording.doubts,
            each=keep_block,
        )
        progress(status.st_size, status.st_size, f"Keeping {path.name}")
        known = book.visit_by_sha256(job.wait())
        if known is not None:
            return Filed(known, True)
        with book.writing() as writer:
            filed = _file(
                writer,
                stage,
                path,
                recording,
                content,
                quality_of(content, losses.groups),
                asked,
                status.st_mtime_ns // 1000,
            )
    return Filed(filed, False)


def _known_already(book: Book, path: Path, size: int) -> Visit | None:
    """Find the visit of a recording that was brought in before.

    Hashing is left until a recording of the same size makes it worth while.
    """
    if not book.holds_size(size):
        return None
    return book.visit_by_sha256(hash_file(path))


def fleet(writer: Writer) -> list[Known]:
    """Read what the book knows of every machine's identity."""
    return [
        Known(one, tuple(writer.controllers(one.id)), tuple(writer.boxes(one.id)))
        for one in writer.machines()
    ]


def _file(
    writer: Writer,
    stage: StagedVisit,
    path: Path,
    recording: Recording,
    content: VisitContent,
    quality: Quality,
    asked: Asked,
    file_us: Instant,
) -> Visit:
    now = now_us()
    placed = place_in_time(
        content,
        header_us=recording.started_us,
        given_us=asked.start_us,
        file_us=file_us,
        now_us=now,
    )
    machines = fleet(writer)
    given = _given(writer, machines, asked.machine, now)
    parts = split(content) or (Part((), None, False),)
    found: list[tuple[Recognised, str]] = []
    for i, part in enumerate(parts):
        one = recognise(part, content, machines, given if i == 0 else None)
        found.append((one, _machine_of(writer, one, content, now)))
    seats, swaps = _seat(writer, content, found, now)
    main, main_id = found[0]
    earlier = [
        (one.hours_end, one.hours_from == "bus")
        for one in writer.visits(main_id)
        if one.hours_end is not None
        and one.machine == main_id
        and _before(one, placed.zero_us, content)
    ]
    hours = place_in_hours(content, main.part.senders, asked.hours, earlier)
    doubts = [*placed.doubts, *hours.doubts]
    for one, _ in found:
        doubts.extend(one.doubts)
    doubts.extend(swaps)
    engines = [one for one, _ in found if not one.part.implement]
    if len(engines) > 1:
        names = [writer.machine(id_).name for one, id_ in found if not one.part.implement]
        doubts.append(keep("two_machines", names[0], names[1]))
    if content.pauses:
        longest = max(end - start for start, end in content.pauses)
        doubts.append(keep("pauses", len(content.pauses), round(longest / SECOND_US)))
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
            kind="recording",
            machine=main_id,
            others=tuple(dict.fromkeys(id_ for _, id_ in found[1:] if id_ != main_id)),
            content=content,
            filed_us=now,
            file=str(path),
            format=recording.format,
            quality=quality,
            start_from=placed.start_from,
            zero_us=placed.zero_us,
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
    _note_events(writer, visit, found, content, now)
    return visit


def _before(visit: Visit, zero_us: Instant | None, content: VisitContent) -> bool:
    """Tell whether a visit lies before this one, as far as times tell."""
    if zero_us is None or visit.start_us is None:
        return False
    return visit.start_us < zero_us + content.earliest_us


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
        if vin is not None and machine.vin is None:
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
) -> tuple[tuple[str | None, ...], list[str]]:
    """Give every sender its place on its machine; tell swapped units."""
    seats: list[str | None] = [None] * len(content.controllers)
    doubts: list[str] = []
    for recognised, machine in found:
        for swap in recognised.swaps:
            doubts.append(
                keep(
                    "swapped_unit",
                    function_text(swap.now),
                    swap.before.identity_number,
                    swap.now.identity_number,
                )
            )
        # Senders with a NAME first: one without takes the place that last held its address.
        order = sorted(recognised.part.senders, key=lambda i: content.controllers[i].name is None)
        for i in order:
            seen = content.controllers[i]
            place = seen.name.place if seen.name is not None else None
            seats[i] = writer.ensure_controller(
                machine, place=place, address=seen.address, now_us=now
            ).id
    return tuple(seats), doubts


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
        name = content.controllers[i].name if i is not None else None
        maker = key.spn is not None and key.spn >= MAKER_SPN and name is not None
        ids.append(
            writer.ensure_fault(
                owner_of.get(i, main) if i is not None else main,
                seats[i] if i is not None else None,
                key.kind,
                now_us=now,
                spn=key.spn,
                fmi=key.fmi,
                code=key.code,
                manufacturer_code=name.manufacturer_code if maker and name else None,
                function=name.function if maker and name else None,
            ).id
        )
    return tuple(ids)


def _component(content: VisitContent, part: Part) -> str | None:
    """Return the component identification of the machine: the lowest address that told one."""
    told = sorted(
        (content.controllers[i] for i in part.senders if any(content.controllers[i].component)),
        key=lambda one: one.address,
    )
    return "*".join(told[0].component) if told else None


def _note_events(
    writer: Writer,
    visit: Visit,
    found: Sequence[tuple[Recognised, str]],
    content: VisitContent,
    now: Instant,
) -> None:
    """Put swapped units on the line of their machine."""
    claimed = {one.name: one.first_us for one in content.claims}
    for recognised, machine in found:
        for swap in recognised.swaps:
            writer.add_event(
                machine,
                "swapped_unit",
                now_us=now,
                visit=visit.id,
                controller=swap.controller,
                at_us=claimed.get(swap.now, content.earliest_us),
                hours=visit.hours_start,
                detail=(
                    (
                        "words",
                        keep(
                            "swapped_unit",
                            function_text(swap.now),
                            swap.before.identity_number,
                            swap.now.identity_number,
                        ),
                    ),
                ),
            )


def open_all(
    paths: Sequence[Path], asked: Asked
) -> tuple[list[tuple[Instant, Path, Recording]], list[tuple[str, str]]]:
    """Open the files and put them in the order of their own times; tell those refused."""
    opened: list[tuple[Instant, Path, Recording]] = []
    refused: list[tuple[str, str]] = []
    for path in paths:
        try:
            recording = open_recording(path, columns=asked.columns)
            opened.append((own_time_us(path, recording, asked), path, recording))
        except RecordingError as trouble:
            refused.append((str(path), trouble.reason))
        except StopIteration:
            refused.append((str(path), "holds no frame."))
    opened.sort(key=lambda one: one[0])
    return opened, refused
