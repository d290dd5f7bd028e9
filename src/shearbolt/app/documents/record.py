"""Documents of what changes, carries or checks the book: note, repair, export, backup and so on."""

from __future__ import annotations

from typing import Literal, TypedDict

from shearbolt.app.documents.fault import FaultsDocument
from shearbolt.app.documents.machine import YardDocument
from shearbolt.app.documents.values import (
    Address,
    Count,
    Fmi,
    Identifier,
    Pgn,
    Refused,
    SampleStatus,
    Seconds,
    Sha256,
    Spn,
    Time,
)
from shearbolt.app.documents.visit import AddDocument, Visit


class NoteDocument(Visit):
    """`shearbolt note`: the visit by hand that a note became."""

    schema: Literal["shearbolt/note/1"]
    """Which document this is."""


class RepairDocument(TypedDict):
    """`shearbolt repair add`: a repair filed."""

    schema: Literal["shearbolt/repair/1"]
    """Which document this is."""
    repair: Identifier
    """The repair."""
    faults: list[Identifier]
    """The faults it stands for."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    hours: float | None
    """Engine hours at which it was done."""
    date: Time | None
    """When it was done; midnight UTC stands for the day."""
    text: str
    """What was done."""


class ServeDocument(TypedDict):
    """`shearbolt serve`: where the pages are."""

    schema: Literal["shearbolt/serve/1"]
    """Which document this is."""
    address: str
    """Address of the yard, on this computer alone."""
    book: str
    """Folder of the book."""


class RenameDocument(TypedDict):
    """`shearbolt rename`: a machine with its new name."""

    schema: Literal["shearbolt/rename/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """Its name now."""
    old_name: str
    """Its name before."""


class Sample(TypedDict):
    """One sample; the value is null and the status set where there is no number."""

    at: Time | None
    """When it was sent."""
    at_s: Seconds | None
    """The same from the first frame."""
    value: float | None
    """Physical value."""
    status: SampleStatus | None
    """Why there is no number; null where there is one."""


class Signal(TypedDict):
    """The samples of one parameter from one sender."""

    spn: Spn
    """Which parameter."""
    text: str
    """In plain words."""
    unit: str
    """Its unit."""
    pgn: Pgn
    """Group it came in."""
    channel: str
    """Channel of the recording."""
    address: Address
    """Source address."""
    own: bool
    """An owner's own row."""
    count: Count
    """Samples."""
    numbers: Count
    """Samples that were numbers."""
    low: float | None
    """Smallest number."""
    high: float | None
    """Largest number."""
    first: float | None
    """First number."""
    last: float | None
    """Last number."""
    samples: list[Sample]
    """Every sample in order; empty where they were written to a file, or shown in summary."""


class SignalsDocument(TypedDict):
    """`shearbolt signals VISIT`: decoded samples."""

    schema: Literal["shearbolt/signals/1"]
    """Which document this is."""
    visit: Identifier
    """The visit."""
    rows: Count
    """Samples in all."""
    csv: str | None
    """File written as CSV."""
    parquet: str | None
    """File written as Parquet."""
    signals: list[Signal]
    """One entry a parameter and sender."""


class FileWritten(TypedDict):
    """A file written."""

    file: str
    """Path within the folder."""
    bytes: Count
    """Its size."""
    sha256: Sha256
    """Of its contents."""
    words: str
    """What it holds."""


class ExportDocument(TypedDict):
    """`shearbolt export ID FOLDER`: everything of a machine in open formats."""

    schema: Literal["shearbolt/export/1"]
    """Which document this is."""
    machine: Identifier
    """The machine."""
    machine_name: str
    """What its people call it."""
    folder: str
    """Where it was written."""
    visits: Count
    """Visits written."""
    faults: Count
    """Faults written."""
    files: list[FileWritten]
    """All files."""


class BackupDocument(TypedDict):
    """`shearbolt backup TARGET`: a copy of the whole book, checked after writing."""

    schema: Literal["shearbolt/backup/1"]
    """Which document this is."""
    target: str
    """Where it was written."""
    files: Count
    """Files in it."""
    bytes: Count
    """Their size together."""
    machines: Count
    """Machines in it."""
    visits: Count
    """Visits in it."""
    sound: bool
    """It was read again and agrees with the book."""


class ImportBookDocument(TypedDict):
    """`shearbolt import-book FOLDER`: another book or a backup of one taken in."""

    schema: Literal["shearbolt/import-book/1"]
    """Which document this is."""
    folder: str
    """Where it was taken from."""
    machines: list[Identifier]
    """Machines that it brought or added to."""
    visits_added: Count
    """Visits that are new."""
    visits_known: Count
    """Visits that were there already."""
    repairs_added: Count
    """Repairs that are new."""
    refused: list[Refused]
    """What was not taken."""


class LookedAt(TypedDict):
    """One thing that the integrity check looked at."""

    words: str
    """What was looked at."""
    count: Count
    """How many of it."""
    sound: bool
    """Nothing was wrong."""


class Problem(TypedDict):
    """Something wrong with the book."""

    where: str
    """File or identifier."""
    words: str
    """What is wrong and what to do, in one sentence."""


class CheckDocument(TypedDict):
    """`shearbolt check`: the integrity of the book."""

    schema: Literal["shearbolt/check/1"]
    """Which document this is."""
    book: str
    """Folder of the book."""
    sound: bool
    """Nothing is wrong."""
    looked_at: list[LookedAt]
    """What was looked at."""
    problems: list[Problem]
    """What is wrong."""


class OwnSignal(TypedDict):
    """A signal of the owner's, and what it gave when tried."""

    spn: Spn
    """The number it is known by."""
    text: str
    """In plain words."""
    unit: str
    """Its unit."""
    pgn: Pgn
    """Group it lies in."""
    address: Address | None
    """Only from this sender."""
    start_byte: Count
    """First byte, counted from 1."""
    start_bit: Count
    """First bit in that byte, counted from 1."""
    length_bits: Count
    """Width."""
    resolution: float
    """Step of one raw count, in `unit`."""
    offset: float
    """Physical value of raw zero."""
    source: str
    """Where the row comes from."""
    samples: Count | None
    """Samples when tried; null where it was not."""
    numbers: Count | None
    """Samples that were numbers."""
    low: float | None
    """Smallest number when tried."""
    high: float | None
    """Largest number when tried."""
    first_values: list[float | None]
    """The first few values when tried."""
    words: str | None
    """What the trial showed, in one sentence."""


class OwnSignalsDocument(TypedDict):
    """`shearbolt own signal ...`: the owner's own signals."""

    schema: Literal["shearbolt/own-signals/1"]
    """Which document this is."""
    tried_on: str | None
    """Visit or file they were tried on."""
    kept: bool
    """They are in the book."""
    signals: list[OwnSignal]
    """Those asked about (add, try) or all (list)."""


class OwnCode(TypedDict):
    """A text of the owner's for a code."""

    manufacturer_code: Count | None
    """Manufacturer code of the sender's NAME."""
    function: Count | None
    """Function of the sender's NAME."""
    spn: Spn
    """Suspect parameter number."""
    fmi: Fmi | None
    """Failure mode identifier; null: any."""
    text: str
    """What the manual says."""
    page: str | None
    """Page of the manual."""
    faults: list[Identifier]
    """Faults in the book that it names."""


class OwnCodesDocument(TypedDict):
    """`shearbolt own code ...`: the owner's own code texts."""

    schema: Literal["shearbolt/own-codes/1"]
    """Which document this is."""
    codes: list[OwnCode]
    """The one added, or all."""


class DemoDocument(TypedDict):
    """`shearbolt demo`: recordings of the proving ground, filed and shown."""

    schema: Literal["shearbolt/demo/1"]
    """Which document this is."""
    folder: str
    """Where the recordings lie."""
    book: str
    """The book they were filed in."""
    files: list[str]
    """The recordings."""
    add: AddDocument
    """What filing them told."""
    yard: YardDocument
    """The fleet."""
    faults: FaultsDocument
    """What is wrong."""


class ErrorDocument(TypedDict):
    """What `--json` prints where nothing could be done (exit status 2 or 3)."""

    schema: Literal["shearbolt/error/1"]
    """Which document this is."""
    error: str
    """One sentence for a person."""
    kind: str
    """Name of the error in errors.py; 'Usage', 'Interrupted' or 'Unexpected' for others."""
    exit_status: Literal[2, 3]
    """Exit status of the command."""
    trouble_log: str | None
    """File with the details of an error that nobody foresaw."""
