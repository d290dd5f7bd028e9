"""The typed JSON documents, version 1, and the use cases that give them.

Rules for all documents: a field that is not known is null, never left out; times are ISO 8601 UTC
with microseconds; numbers carry their unit in the key or beside them and stay metric; new fields
may be added. Beside each time of a recording stands the same moment in seconds from the first
frame of that recording (negative before it), known even where the time is not: `at_s` beside `at`,
and for any other time the key with `_at_s` after it (`start_at_s`, `end_latest_at_s`,
`first_seen_at_s`). Dates that rest on no recording (a repair's `date`, an `as_of`, the last visit
in the yard) have none. `shearbolt.app.schemas` makes the published JSON Schema from these types.

The command line calls one function of `shearbolt.app.use_cases` a command. `book` is the book's
folder (created when missing), `which` an identifier or a name, `wording` always a `Wording` by
keyword (left out below), `progress` a `Progress` by keyword. Each raises ShearboltError.

| command | function of `use_cases` | document |
| --- | --- | --- |
| add | add_recordings(book, files, *, machine, start_us, hours, columns, progress) | AddDocument |
| note | note(book, asked: NoteAsked) | NoteDocument |
| yard | yard(book) | YardDocument |
| machine | machine(book, which) | MachineDocument |
| visit | visit(book, which) | VisitDocument |
| faults | faults(book, *, machine, visit, everything) | FaultsDocument |
| fault | fault(book, which) | FaultDocument |
| signals | signals(book, asked: SignalsAsked, *, with_samples, progress) | SignalsDocument |
| tells | tells(book, which) | TellsDocument |
| export | export_machine(book, which, folder, *, progress) | ExportDocument |
| import-book | import_book(book, folder, *, progress) | ImportBookDocument |
| backup | backup(book, target, *, progress) | BackupDocument |
| check | check(book, *, progress) | CheckDocument |
| repair add | repair_add(book, *, machine, faults, hours, date_us, text) | RepairDocument |
| rename | rename_machine(book, which, new_name) | RenameDocument |
| own signal add | own_signal_add(book, rows_file, *, tried_on) | OwnSignalsDocument |
| own signal try | own_signal_try(book, rows_file, *, tried_on) | OwnSignalsDocument |
| own signal list | own_signal_list(book) | OwnSignalsDocument |
| own code add | own_code_add(book, asked: OwnCodeAsked) | OwnCodesDocument |
| own code list | own_code_list(book) | OwnCodesDocument |
| ask | ask(book, asked: AskAsked, *, show: ShowAsking, stop, progress) | AskDocument |
| watch | watch(asked: WatchAsked, *, show: ShowWatch, stop, wait) | WatchDocument |
| service add | service_add(book, which, *, text, every_hours, ...) | ServiceJobDocument |
| service done | service_done(book, job, *, hours, date_us, note) | ServiceJobDocument |
| service list | service_list(book, which, *, window_hours, window_days) | ServiceDocument |
| work | work(book, *, window_hours, window_days, shop_hours) | WorkDocument |
| forecast | forecast_machine(book, which, *, hours) | ForecastDocument |
| costs | costs(book, *, given) | CostsDocument |
| courses | courses_of_fault(book, which, *, parts) | CoursesDocument |
| sunday | sunday(book, *, window_hours, window_days) | SundayDocument |
| secondhand | secondhand(book, which) | SecondhandDocument |
| demo | demo(book, folder, *, progress) | DemoDocument |
| listen | listen(book, asked: ListenAsked, *, show: ShowLive, stop, progress) | ListenDocument |
| baseline | baseline(book, asked, *, guide, show, stop, progress) | BaselineDocument |
| learn | learn(book, asked, *, guide, show, stop, progress) | LearnDocument |
| learn --list | learnt(book, machine) | LearntDocument |

The exact types stand in `shearbolt.cli.door.UseCases`. Files and folders come as the person typed
them; a file that cannot be brought in goes to `refused` rather than being raised, so that the
others are still taken. Instants are microseconds since 1970 UTC.
"""

from __future__ import annotations

from shearbolt.app.documents.asked import (
    AskAnswer,
    AskAsked,
    AskDocument,
    AskedFrame,
    AskRequest,
    MachineStand,
    ShowAsking,
    SpeedSeen,
    show_no_asking,
)
from shearbolt.app.documents.asking import (
    PLAIN_WORDING,
    NoteAsked,
    OwnCodeAsked,
    Progress,
    SignalsAsked,
    Units,
    Wording,
    no_progress,
)
from shearbolt.app.documents.fault import (
    Advice,
    Check,
    Counts,
    Evidence,
    Fault,
    FaultDocument,
    FaultsDocument,
    Followup,
    FreezeFrame,
    FrozenValue,
    LampWithoutCode,
    MachineFaults,
    Repair,
    Setting,
    Spell,
    Suspect,
    Term,
    Trend,
)
from shearbolt.app.documents.handed import (
    HandoverDocument,
    HandoverSheet,
    SheetEvidence,
    SheetSuspect,
)
from shearbolt.app.documents.learning import (
    BaselineAsked,
    BaselineDifference,
    BaselineDocument,
    BaselineReading,
    BaselineStep,
    ExperimentShown,
    GuidedStep,
    LearnAsked,
    LearnDocument,
    LearnMatch,
    LearnPrompt,
    LearntDocument,
    LearntSignal,
    ShowGuided,
    show_no_guiding,
)
from shearbolt.app.documents.live import (
    AdapterHeard,
    BusFinding,
    ListenAsked,
    ListenDocument,
    ListenEvent,
    LiveController,
    LiveFault,
    LiveReading,
    LiveView,
    ShowLive,
    show_nothing,
)
from shearbolt.app.documents.machine import (
    ControllerManner,
    FaultBrief,
    GroupManner,
    LearntReading,
    MachineDocument,
    NotPossible,
    Reading,
    TellsDocument,
    VisitBrief,
    YardDocument,
    YardMachine,
)
from shearbolt.app.documents.news import FaultNews, NewMachine, NewSince
from shearbolt.app.documents.planning import (
    CostsDocument,
    CourseCost,
    CourseOdds,
    CoursesDocument,
    ForecastDocument,
    MemoryShows,
    NamedFault,
    SecondhandDocument,
    ServiceDocument,
    ServiceEntry,
    ServiceJobDocument,
    SundayDocument,
    SundayMachine,
    WorkDocument,
    WorkJob,
)
from shearbolt.app.documents.record import (
    BackupDocument,
    CheckDocument,
    DemoDocument,
    ErrorDocument,
    ExportDocument,
    FileWritten,
    ImportBookDocument,
    LookedAt,
    NoteDocument,
    OwnCode,
    OwnCodesDocument,
    OwnSignal,
    OwnSignalsDocument,
    Problem,
    RenameDocument,
    RepairDocument,
    Sample,
    ServeDocument,
    Signal,
    SignalsDocument,
)
from shearbolt.app.documents.values import Happening, Lamps, NotRead, ReasonCount, Refused
from shearbolt.app.documents.visit import (
    AddDocument,
    Answer,
    AnswerValue,
    Box,
    Clear,
    Controller,
    Group,
    NoteWritten,
    OtherId,
    Transport,
    Visit,
    VisitDocument,
)
from shearbolt.app.documents.watched import (
    ShowWatch,
    WatchAsked,
    WatchDocument,
    WatchedVisit,
)
from shearbolt.app.documents.work import (
    CauseDocument,
    CheckAddDocument,
    CheckDoneEntry,
    ChecksDocument,
    RepairEntry,
    RepairsDocument,
    WithdrawnDocument,
)

DOCUMENTS: dict[str, type] = {
    "add": AddDocument,
    "ask": AskDocument,
    "backup": BackupDocument,
    "baseline": BaselineDocument,
    "cause": CauseDocument,
    "check": CheckDocument,
    "check-add": CheckAddDocument,
    "checks": ChecksDocument,
    "costs": CostsDocument,
    "courses": CoursesDocument,
    "demo": DemoDocument,
    "error": ErrorDocument,
    "export": ExportDocument,
    "fault": FaultDocument,
    "faults": FaultsDocument,
    "forecast": ForecastDocument,
    "handover": HandoverDocument,
    "import-book": ImportBookDocument,
    "learn": LearnDocument,
    "learnt": LearntDocument,
    "listen": ListenDocument,
    "machine": MachineDocument,
    "note": NoteDocument,
    "own-codes": OwnCodesDocument,
    "own-signals": OwnSignalsDocument,
    "rename": RenameDocument,
    "repair": RepairDocument,
    "repairs": RepairsDocument,
    "secondhand": SecondhandDocument,
    "serve": ServeDocument,
    "service": ServiceDocument,
    "service-job": ServiceJobDocument,
    "signals": SignalsDocument,
    "sunday": SundayDocument,
    "tells": TellsDocument,
    "visit": VisitDocument,
    "watch": WatchDocument,
    "withdrawn": WithdrawnDocument,
    "work": WorkDocument,
    "yard": YardDocument,
}
"""Every document, by the middle of its `schema` ('shearbolt/NAME/1')."""

__all__ = [
    "DOCUMENTS",
    "PLAIN_WORDING",
    "AdapterHeard",
    "AddDocument",
    "Advice",
    "Answer",
    "AnswerValue",
    "AskAnswer",
    "AskAsked",
    "AskDocument",
    "AskRequest",
    "AskedFrame",
    "BackupDocument",
    "BaselineAsked",
    "BaselineDifference",
    "BaselineDocument",
    "BaselineReading",
    "BaselineStep",
    "Box",
    "BusFinding",
    "CauseDocument",
    "Check",
    "CheckAddDocument",
    "CheckDocument",
    "CheckDoneEntry",
    "ChecksDocument",
    "Clear",
    "Controller",
    "ControllerManner",
    "CostsDocument",
    "Counts",
    "CourseCost",
    "CourseOdds",
    "CoursesDocument",
    "DemoDocument",
    "ErrorDocument",
    "Evidence",
    "ExperimentShown",
    "ExportDocument",
    "Fault",
    "FaultBrief",
    "FaultDocument",
    "FaultNews",
    "FaultsDocument",
    "FileWritten",
    "Followup",
    "ForecastDocument",
    "FreezeFrame",
    "FrozenValue",
    "Group",
    "GroupManner",
    "GuidedStep",
    "HandoverDocument",
    "HandoverSheet",
    "Happening",
    "ImportBookDocument",
    "LampWithoutCode",
    "Lamps",
    "LearnAsked",
    "LearnDocument",
    "LearnMatch",
    "LearnPrompt",
    "LearntDocument",
    "LearntReading",
    "LearntSignal",
    "ListenAsked",
    "ListenDocument",
    "ListenEvent",
    "LiveController",
    "LiveFault",
    "LiveReading",
    "LiveView",
    "LookedAt",
    "MachineDocument",
    "MachineFaults",
    "MachineStand",
    "MemoryShows",
    "NamedFault",
    "NewMachine",
    "NewSince",
    "NotPossible",
    "NotRead",
    "NoteAsked",
    "NoteDocument",
    "NoteWritten",
    "OtherId",
    "OwnCode",
    "OwnCodeAsked",
    "OwnCodesDocument",
    "OwnSignal",
    "OwnSignalsDocument",
    "Problem",
    "Progress",
    "Reading",
    "ReasonCount",
    "Refused",
    "RenameDocument",
    "Repair",
    "RepairDocument",
    "RepairEntry",
    "RepairsDocument",
    "Sample",
    "SecondhandDocument",
    "ServeDocument",
    "ServiceDocument",
    "ServiceEntry",
    "ServiceJobDocument",
    "Setting",
    "SheetEvidence",
    "SheetSuspect",
    "ShowAsking",
    "ShowGuided",
    "ShowLive",
    "ShowWatch",
    "Signal",
    "SignalsAsked",
    "SignalsDocument",
    "SpeedSeen",
    "Spell",
    "SundayDocument",
    "SundayMachine",
    "Suspect",
    "TellsDocument",
    "Term",
    "Transport",
    "Trend",
    "Units",
    "Visit",
    "VisitBrief",
    "VisitDocument",
    "WatchAsked",
    "WatchDocument",
    "WatchedVisit",
    "WithdrawnDocument",
    "Wording",
    "WorkDocument",
    "WorkJob",
    "YardDocument",
    "YardMachine",
    "no_progress",
    "show_no_asking",
    "show_no_guiding",
    "show_nothing",
]
