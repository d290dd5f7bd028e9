"""Hand-made documents for tests: plain ones, changed field by field where a test needs it."""

from __future__ import annotations

from typing import Any, cast

from tests.made_faults import AMBER as AMBER
from tests.made_faults import END as END
from tests.made_faults import LAMP_WITHOUT_CODE as LAMP_WITHOUT_CODE
from tests.made_faults import NAME as NAME
from tests.made_faults import NO_LAMPS as NO_LAMPS
from tests.made_faults import START as START
from tests.made_faults import fault as fault
from tests.made_faults import machine_faults as machine_faults
from tests.made_faults import reasoned_fault as reasoned_fault
from tests.made_faults import repair as repair
from tests.made_faults import spell as spell
from tests.made_heard import LISTEN as LISTEN
from tests.made_learning import BASELINE as BASELINE
from tests.made_learning import LEARN as LEARN
from tests.made_learning import LEARNT as LEARNT
from tests.made_live import ASK as ASK
from tests.made_live import WATCH as WATCH
from tests.made_planning import PLANNING
from tests.made_visits import controller as controller
from tests.made_visits import visit as visit
from tests.made_work import CAUSE, CHECK_ADD, CHECKS, REPAIRS, SERVE, WITHDRAWN

from shearbolt.app.documents import (
    AddDocument,
    BackupDocument,
    CheckDocument,
    DemoDocument,
    ErrorDocument,
    ExportDocument,
    Fault,
    FaultBrief,
    FaultDocument,
    FaultsDocument,
    ImportBookDocument,
    MachineDocument,
    MachineFaults,
    NewSince,
    NoteDocument,
    OwnCodesDocument,
    OwnSignalsDocument,
    RenameDocument,
    RepairDocument,
    Signal,
    SignalsDocument,
    TellsDocument,
    Visit,
    VisitBrief,
    VisitDocument,
    YardDocument,
    YardMachine,
)


def faults_document(*machines: MachineFaults) -> FaultsDocument:
    return {"schema": "shearbolt/faults/1", "machines": list(machines or [machine_faults()])}


def fault_document(one: Fault | None = None, **changes: Any) -> FaultDocument:
    made = {
        "schema": "shearbolt/fault/1",
        "machine": "m3k2",
        "machine_name": "Forage harvester",
        "repairs": [repair()],
        **(one or fault()),
    }
    return cast(FaultDocument, {**made, **changes})


NOTHING_NEW: NewSince = {
    "since": START,
    "machines": [],
    "faults": [],
    "came_back": [],
    "counts_rose": [],
}


def add_document(*visits: Visit, refused: list[dict[str, str]] | None = None) -> AddDocument:
    return cast(
        AddDocument,
        {
            "schema": "shearbolt/add/1",
            "visits": list(visits),
            "refused": refused or [],
            "new_since": NOTHING_NEW,
        },
    )


def visit_document(**changes: Any) -> VisitDocument:
    return cast(VisitDocument, {"schema": "shearbolt/visit/1", **visit(**changes)})


def note_document(**changes: Any) -> NoteDocument:
    note = {
        "text": "won't crank",
        "understood_as": "symptom",
        "words": "symptom: won't crank",
        "doing": "first start of the day",
        "hot_cold": "cold",
        "after_start": "at once",
        "after_start_s": 0.0,
        "photo": None,
        "voice": None,
        "who": "Nan",
    }
    nothing = {
        "kind": "by_hand",
        "recognised_by": ["given"],
        "file": None,
        "sha256": None,
        "format": None,
        "start_from": "given",
        "frames": 0,
        "channels": [],
        "controllers": [],
        "groups": [],
        "ids_11bit": [],
        "answers": [],
        "clears": [],
        "transport": {"complete": 0, "broken": []},
        "vin": None,
        "component": None,
        "software": [],
        "engine_hours_from": "given",
        "note": note,
    }
    return cast(NoteDocument, {"schema": "shearbolt/note/1", **visit(**{**nothing, **changes})})


def brief(**changes: Any) -> FaultBrief:
    made: FaultBrief = {
        "fault": "f1aa",
        "text": "Intake manifold temperature: too high, moderately severe",
        "state": "active",
        "stale": False,
        "spn": 105,
        "fmi": 16,
        "code": None,
        "root": None,
    }
    return cast(FaultBrief, {**made, **changes})


def yard_machine(**changes: Any) -> YardMachine:
    made: YardMachine = {
        "machine": "m3k2",
        "machine_name": "Forage harvester",
        "kind": "machine",
        "advice": None,
        "as_of": None,
        "words": None,
        "engine_hours": 5910.85,
        "engine_hours_from": "bus",
        "visits": 3,
        "last_visit": "v5t8",
        "last_visit_end": END,
        "active": 1,
        "open": 1,
        "stale": 0,
        "faults": [brief()],
    }
    return cast(YardMachine, {**made, **changes})


def yard_document(*machines: YardMachine) -> YardDocument:
    return {"schema": "shearbolt/yard/1", "machines": list(machines)}


def visit_brief(**changes: Any) -> VisitBrief:
    made: VisitBrief = {
        "visit": "v5t8",
        "kind": "recording",
        "file": "clamp_evening.log",
        "quality": "complete",
        "start": START,
        "start_at_s": 0.0,
        "end": END,
        "end_at_s": 3001.5,
        "engine_hours_start": 5910.0,
        "engine_hours_end": 5910.85,
        "engine_hours_from": "bus",
        "frames": 19957,
        "faults": ["f1aa"],
        "words": None,
    }
    return cast(VisitBrief, {**made, **changes})


def machine_document(**changes: Any) -> MachineDocument:
    made = {
        "schema": "shearbolt/machine/1",
        **machine_faults(),
        "kind": "machine",
        "vin": "XCORBIE0000000017",
        "component": "A*B*17",
        "software": ["7.1"],
        "engine_hours": 5910.85,
        "engine_hours_from": "bus",
        "doubts": [],
        "controllers": [controller()],
        "visits": [visit_brief()],
        "events": [],
    }
    return cast(MachineDocument, {**made, **changes})


def reading(**changes: Any) -> dict[str, Any]:
    made = {
        "spn": 110,
        "text": "Engine coolant temperature",
        "unit": "degC",
        "pgn": 65262,
        "address": 0,
        "controller": "c7a2",
        "status": "alive",
        "period_s": 1.0,
        "resolution": 1.0,
        "samples": 3001,
        "numbers": 3001,
        "low": 12.0,
        "high": 88.0,
        "last": 87.0,
        "own": False,
    }
    return {**made, **changes}


def tells_document(**changes: Any) -> TellsDocument:
    made = {
        "schema": "shearbolt/tells/1",
        "machine": "m3k2",
        "machine_name": "Forage harvester",
        "visits": 3,
        "readings": [
            reading(),
            reading(
                spn=175,
                text="Engine oil temperature",
                status="not_available",
                numbers=0,
                low=None,
                high=None,
                last=None,
            ),
            reading(
                spn=177,
                text="Transmission oil temperature",
                status="never_sent",
                pgn=None,
                address=None,
                controller=None,
                period_s=None,
                samples=0,
                numbers=0,
                low=None,
                high=None,
                last=None,
            ),
        ],
        "learnt": [
            {
                "learnt": "g4k2",
                "text": "sitting on the seat",
                "pgn": 65531,
                "address": 71,
                "controller": "c7a2",
                "start_byte": 4,
                "start_bit": 3,
                "length_bits": 1,
                "status": "learnt",
                "sessions": 2,
            }
        ],
        "controllers": [
            {
                "controller": "c7a2",
                "text": "engine",
                "address": 0,
                "name": NAME,
                "dm1_manner": "while_active",
                "count_steps": "at_end",
                "after_run_s": 17.5,
                "groups": [{"pgn": 61444, "count": 1499, "period_s": 0.02, "decoded": True}],
            }
        ],
        "not_possible": [{"check": "oil against speed", "because": "no oil temperature comes"}],
    }
    return cast(TellsDocument, {**made, **changes})


def signal(**changes: Any) -> Signal:
    made: Signal = {
        "spn": 110,
        "text": "Engine coolant temperature",
        "unit": "degC",
        "pgn": 65262,
        "channel": "can0",
        "address": 0,
        "own": False,
        "count": 2,
        "numbers": 1,
        "low": 87.0,
        "high": 87.0,
        "first": 87.0,
        "last": 87.0,
        "samples": [
            {"at": START, "at_s": 0.5, "value": 87.0, "status": None},
            {"at": None, "at_s": 1.5, "value": None, "status": "not_available"},
        ],
    }
    return cast(Signal, {**made, **changes})


def signals_document(*signals: Signal, **changes: Any) -> SignalsDocument:
    made = {
        "schema": "shearbolt/signals/1",
        "visit": "v5t8",
        "rows": sum(one["count"] for one in signals),
        "csv": None,
        "parquet": None,
        "signals": list(signals),
    }
    return cast(SignalsDocument, {**made, **changes})


def repair_document(**changes: Any) -> RepairDocument:
    made = {
        "schema": "shearbolt/repair/1",
        **repair(),
        "machine": "m3k2",
        "machine_name": "Forage harvester",
    }
    return cast(RepairDocument, {**made, **changes})


RENAME: RenameDocument = {
    "schema": "shearbolt/rename/1",
    "machine": "m3k2",
    "machine_name": "The big one",
    "old_name": "Forage harvester",
}
EXPORT: ExportDocument = {
    "schema": "shearbolt/export/1",
    "machine": "m3k2",
    "machine_name": "Forage harvester",
    "folder": "out",
    "visits": 3,
    "faults": 1,
    "files": [
        {"file": "faults.csv", "bytes": 812, "sha256": "cd" * 32, "words": "all faults"},
        {"file": "v5t8.log.zst", "bytes": 4_200_000, "sha256": "ef" * 32, "words": "a recording"},
    ],
}
BACKUP: BackupDocument = {
    "schema": "shearbolt/backup/1",
    "target": "copy",
    "files": 12,
    "bytes": 99_000_000,
    "machines": 3,
    "visits": 9,
    "sound": True,
}
IMPORT_BOOK: ImportBookDocument = {
    "schema": "shearbolt/import-book/1",
    "folder": "out",
    "machines": ["m3k2"],
    "visits_added": 2,
    "visits_known": 1,
    "repairs_added": 0,
    "refused": [],
}
CHECK: CheckDocument = {
    "schema": "shearbolt/check/1",
    "book": "book",
    "sound": False,
    "looked_at": [
        {"words": "recordings against their SHA-256", "count": 9, "sound": False},
        {"words": "tables", "count": 14, "sound": True},
    ],
    "problems": [{"where": "v5t8", "words": "its recording is damaged; bring it in again"}],
}
OWN_SIGNALS: OwnSignalsDocument = {
    "schema": "shearbolt/own-signals/1",
    "tried_on": "v5t8",
    "kept": False,
    "signals": [
        {
            "spn": 520300,
            "text": "Hitch position",
            "unit": "%",
            "pgn": 65300,
            "address": 5,
            "start_byte": 2,
            "start_bit": 1,
            "length_bits": 8,
            "resolution": 0.4,
            "offset": 0.0,
            "source": "found by lifting five times",
            "samples": 120,
            "numbers": 118,
            "low": 0.0,
            "high": 100.0,
            "first_values": [0.0, 0.4, None],
            "words": "it moves between 0 and 100 %",
        }
    ],
}
OWN_CODES: OwnCodesDocument = {
    "schema": "shearbolt/own-codes/1",
    "codes": [
        {
            "manufacturer_code": 722,
            "function": 3,
            "spn": 524020,
            "fmi": 31,
            "text": "Start refused: a gear is engaged",
            "page": "212",
            "faults": ["f9"],
        }
    ],
}
ERROR: ErrorDocument = {
    "schema": "shearbolt/error/1",
    "error": "No machine 'x' in the book.",
    "kind": "NotInBook",
    "exit_status": 3,
    "trouble_log": None,
}


def demo_document() -> DemoDocument:
    return {
        "schema": "shearbolt/demo/1",
        "folder": "shearbolt-demo",
        "book": "shearbolt-demo/book",
        "files": ["shearbolt-demo/a.log"],
        "add": add_document(visit()),
        "yard": yard_document(yard_machine()),
        "faults": faults_document(),
    }


def all_documents() -> dict[str, Any]:
    """One document of every kind, by the middle of its schema's name."""
    return {
        "add": add_document(visit(), refused=[{"file": "x.txt", "reason": "it holds no frame"}]),
        "ask": ASK,
        "backup": BACKUP,
        "baseline": BASELINE,
        "cause": CAUSE,
        "check": CHECK,
        "check-add": CHECK_ADD,
        "checks": CHECKS,
        "demo": demo_document(),
        "error": ERROR,
        "export": EXPORT,
        "fault": fault_document(reasoned_fault()),
        "faults": faults_document(
            machine_faults(
                faults=[fault(), reasoned_fault()],
                repairs=[repair()],
                lamp_without_code=[LAMP_WITHOUT_CODE],
            )
        ),
        "import-book": IMPORT_BOOK,
        "learn": LEARN,
        "learnt": LEARNT,
        "listen": LISTEN,
        "machine": machine_document(),
        "note": note_document(),
        "own-codes": OWN_CODES,
        "own-signals": OWN_SIGNALS,
        "rename": RENAME,
        "repair": repair_document(),
        "repairs": REPAIRS,
        "serve": SERVE,
        "signals": signals_document(signal()),
        "tells": tells_document(),
        "visit": visit_document(),
        "watch": WATCH,
        "withdrawn": WITHDRAWN,
        "yard": yard_document(yard_machine()),
        **PLANNING,
    }
