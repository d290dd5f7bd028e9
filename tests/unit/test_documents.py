"""The documents keep to the machine-readable interface, version 1, and to their schemas."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any, get_type_hints, is_typeddict

import pytest
from jsonschema import Draft202012Validator, ValidationError
from tests import made_documents as made

from shearbolt.app import schemas
from shearbolt.app.documents import DOCUMENTS
from shearbolt.app.documents import fault as fault_types
from shearbolt.app.documents import machine as machine_types
from shearbolt.app.documents import record as record_types
from shearbolt.app.documents import values as value_types
from shearbolt.app.documents import visit as visit_types

ROOT = Path(__file__).resolve().parents[2]
MODULES = (fault_types, machine_types, record_types, value_types, visit_types)
TYPES = {
    name: kind
    for module in MODULES
    for name, kind in vars(module).items()
    if is_typeddict(kind) and kind.__module__ == module.__name__
}

# The fields that the interface names, object by object (`a.b` lies within `a`).
INTERFACE = {
    "AddDocument": "schema visits refused",
    "Visit": "visit kind machine machine_name recognised_by doubts machines file sha256 format "
    "already_in_book quality start_from frames error_frames channels start end not_read "
    "engine_hours_start engine_hours_end engine_hours_from vin component software controllers "
    "transport groups ids_11bit",
    "NotRead": "line byte count reason",
    "Controller": "controller machine channel address name identity_number manufacturer_code "
    "function function_text label box first_seen last_seen dm1_manner",
    "Transport": "complete broken",
    "ReasonCount": "reason count",
    "Group": "pgn channel address count period_s decoded",
    "Refused": "file reason",
    "FaultsDocument": "schema machines",
    "MachineFaults": "machine machine_name advice as_of faults repairs lamp_without_code",
    "Fault": "fault kind event channel address name spn fmi code text from state stale lamps "
    "lamps_sure freeze_frames spells counts setting root suspects probability_other advice checks "
    "followups trend",
    "Lamps": "mil red_stop amber_warning protect",
    "FreezeFrame": "visit at values",
    "FrozenValue": "spn value unit",
    "Spell": "visit start start_known end end_latest ended_by count_start count_end",
    "Counts": "visit first last at_least",
    "Setting": "found words terms cannot_be_told_apart would_tell starts_inside starts_total days "
    "exposure_inside_h exposure_total_h cycles delay_s p_adjusted p_smallest",
    "Term": "quantity spn op value low high unit",
    "Alternative": "words terms",
    "Suspect": "cause probability words contributing evidence",
    "Evidence": "words group weight_db source at",
    "Advice": "class applies_now words engine watch until because cautions as_of",
    "Watch": "words stop_at",
    "Check": "check words minutes tools settles cautions not_possible_because",
    "Followup": "repair result scale events_before exposure_before events_after exposure_after "
    "p_clean_if_unchanged p_unchanged p_partly still_needed words",
    "Trend": "direction z p_value",
    "Repair": "repair hours date text",
    "LampWithoutCode": "visit address lamps start end",
    "RepairDocument": "schema repair faults",
}

# Times that rest on no recording, so that no first frame can be counted from.
NO_FIRST_FRAME = {
    ("MachineFaults", "as_of"),
    ("MachineDocument", "as_of"),
    ("YardMachine", "as_of"),
    ("YardMachine", "last_visit_end"),
    ("Advice", "as_of"),
    ("Repair", "date"),
    ("RepairDocument", "date"),
}


TIMES: tuple[object, ...] = (
    value_types.Time,
    value_types.Time | None,
    list[value_types.Time | None],
)


def validator(name: str, *, closed: bool = True) -> Draft202012Validator:
    return Draft202012Validator(schemas.schema_of(name, closed=closed))


@pytest.mark.parametrize("kind", sorted(INTERFACE))
def test_every_field_of_the_interface_is_there_and_required(kind: str) -> None:
    assert set(INTERFACE[kind].split()) <= TYPES[kind].__required_keys__
    assert not TYPES[kind].__optional_keys__


@pytest.mark.parametrize("kind", sorted(TYPES))
def test_the_seconds_from_the_first_frame_stand_beside_every_time(kind: str) -> None:
    hints = get_type_hints(TYPES[kind], include_extras=True)
    for key, hint in hints.items():
        if hint in TIMES and (kind, key) not in NO_FIRST_FRAME:
            assert ("at_s" if key == "at" else f"{key}_at_s") in hints


def test_a_time_is_recognised_by_the_test_above() -> None:
    hints = get_type_hints(TYPES["Spell"], include_extras=True)
    assert hints["end"] in TIMES
    assert hints["visit"] not in TIMES


def test_the_published_schemas_are_up_to_date(capsys: pytest.CaptureFixture[str]) -> None:
    folder = ROOT / "docs" / "schemas"
    assert schemas.main(["--check", str(folder)]) == 0, capsys.readouterr().err
    assert {path.stem for path in folder.glob("*.json")} == set(DOCUMENTS)


def test_a_stale_schema_file_is_noticed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert schemas.main([str(tmp_path / "new")]) == 0
    assert schemas.main(["--check", str(tmp_path / "new")]) == 0
    (tmp_path / "new" / "yard.json").write_text("{}", encoding="utf-8")
    assert schemas.main(["--check", str(tmp_path / "new")]) == 1
    assert "yard.json is not up to date" in capsys.readouterr().err
    assert schemas.main([]) == 2


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_every_schema_is_a_sound_schema_with_words_for_every_field(name: str) -> None:
    schema = json.loads(schemas.schema_text(name))
    Draft202012Validator.check_schema(schema)
    for one in (schema, *schema["$defs"].values()):
        assert one["description"]
        for key, field in one["properties"].items():
            assert field.get("description"), f"{one['description']}: {key}"


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_hand_made_documents_keep_to_the_schemas(name: str) -> None:
    document = made.all_documents()[name]
    validator(name).validate(document)
    assert document["schema"] == f"shearbolt/{name}/1"


def test_a_field_left_out_or_null_where_it_may_not_be_is_refused() -> None:
    for change in ({}, {"visits": None}, {"schema": "shearbolt/yard/1", "refused": []}):
        document = {"schema": "shearbolt/add/1", "visits": [], "refused": [], **change}
        if not change:
            del document["refused"]
        with pytest.raises(ValidationError):
            validator("add").validate(document)


def test_readers_must_allow_new_fields_and_our_own_output_has_none() -> None:
    document: dict[str, Any] = {"schema": "shearbolt/yard/1", "machines": [], "new": 1}
    validator("yard", closed=False).validate(document)
    with pytest.raises(ValidationError):
        validator("yard").validate(document)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("start", "2026-05-14T06:12:09Z"),
        ("start", "2026-05-14 06:12:09.413022"),
        ("sha256", "AB" * 32),
        ("quality", "good"),
        ("quality", None),
        ("frames", -1),
        ("frames", 1.5),
        ("visit", "two words"),
        ("recognised_by", ["guess"]),
    ],
)
def test_values_out_of_shape_are_refused(key: str, value: object) -> None:
    document = copy.deepcopy(made.add_document(made.visit()))
    validator("add").validate(document)
    with pytest.raises(ValidationError):
        validator("add").validate(made.add_document(made.visit(**{key: value})))


def test_an_unknown_type_in_a_document_is_refused() -> None:
    with pytest.raises(TypeError, match="do not use"):
        schemas._Maker(closed=False).schema(dict)
