"""Every table of facts: each row sourced, numbers in range, keys unique, words plain."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

import shearbolt.dictionary
from shearbolt.dictionary.faults import fmi_of
from shearbolt.dictionary.groups import group
from shearbolt.dictionary.signals import COLUMNS, signal_rows
from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

DATA = Path(shearbolt.dictionary.__file__).parent / "data"
OURS = ("signals", "spn_names", "fmi", "pgns", "functions", "addresses", "symptoms", "events")
KEYS = {
    "signals": ("spn", "pgn"),
    "spn_names": ("spn",),
    "fmi": ("fmi",),
    "pgns": ("pgn",),
    "functions": ("kind", "industry_group", "device_class", "number"),
    "addresses": ("address", "industry_group"),
    "symptoms": ("key",),
    "events": ("key",),
    "sources": ("code",),
}


def codes_of(source: str) -> list[str]:
    """Cut 'P1(two copies)+P2' into its codes; a whole source may be a code itself."""
    if source in {row["code"] for row in table("sources")}:
        return [source]
    return [part.split("(")[0] for part in source.split("+")]


@pytest.mark.parametrize("name", OURS)
def test_every_row_has_sources_that_the_legend_explains(name: str) -> None:
    legend = {row["code"] for row in table("sources")}
    for row in table(name):
        assert row["source"], row
        assert set(codes_of(row["source"])) <= legend, row


def test_the_legend_holds_no_code_without_a_use_or_description() -> None:
    used = {code for name in OURS for row in table(name) for code in codes_of(row["source"])}
    for name in ("pids", "obd_codes", "uds_words"):
        if (DATA / f"{name}.csv").exists():
            used |= {code for row in table(name) for code in codes_of(row.get("source", ""))}
    assert all(row["description"].endswith(".") for row in table("sources"))
    assert {"P1", "P2", "P6", "P7", "T1", "memory"} <= used


@pytest.mark.parametrize("name", KEYS)
def test_keys_are_unique(name: str) -> None:
    counts = Counter(tuple(row[column] for column in KEYS[name]) for row in table(name))
    assert [key for key, count in counts.items() if count > 1] == []


def test_signal_numbers_are_in_range() -> None:
    for row in signal_rows():
        assert 0 < row.spn < 520192
        assert 1 <= row.start_bit <= 8
        assert 1 <= row.length_bits <= 32
        assert row.low <= row.high
        last = row.first_bit + row.length_bits
        assert last <= 8 * (36 if row.pgn in (64920, 65251) else 8), row


def test_signal_rows_of_one_group_do_not_overlap() -> None:
    taken: dict[tuple[int, int], int] = {}
    for row in signal_rows():
        for bit in range(row.first_bit, row.first_bit + row.length_bits):
            other = taken.setdefault((row.pgn, bit), row.spn)
            # DM5 and the like share nothing; a shared bit is a slip in the table.
            assert other == row.spn, f"SPN {row.spn} and {other} share a bit of {row.pgn}"


# SHA-256 over all rows of the published facts the table was transcribed from (all columns but the
# sources), taken from that text and not from ours.
TRANSCRIBED = "d7c1a86eb1b19e7c97f90909dd76a75a9c2784e4f6fe65c04e5a18e8f190e10e"


def test_the_signal_table_is_a_true_transcript() -> None:
    """546 rows in 123 groups; a changed fact must be changed here too, on purpose."""
    assert tuple(table("signals")[0]) == COLUMNS
    assert len(signal_rows()) == 546
    assert len({row.pgn for row in signal_rows()}) == 123
    text = "\n".join("|".join(row[one] for one in COLUMNS[:-1]) for row in table("signals"))
    assert hashlib.sha256(text.encode()).hexdigest() == TRANSCRIBED


# Spot values of SAE J1939-71, transcribed apart from the table (reference sheet 3.1 and 3.2).
SPOTS = [
    (190, 61444, 4, 1, 16, 0.125, 0.0, "rpm"),
    (110, 65262, 1, 1, 8, 1.0, -40.0, "degC"),
    (175, 65262, 3, 1, 16, 0.03125, -273.0, "degC"),
    (158, 65271, 7, 1, 16, 0.05, 0.0, "V"),
    (168, 65271, 5, 1, 16, 0.05, 0.0, "V"),
    (167, 65271, 3, 1, 16, 0.05, 0.0, "V"),
    (109, 65263, 7, 1, 8, 2.0, 0.0, "kPa"),
    (111, 65263, 8, 1, 8, 0.4, 0.0, "%"),
    (102, 65270, 2, 1, 8, 2.0, 0.0, "kPa"),
    (84, 65265, 2, 1, 16, 1 / 256, 0.0, "km/h"),
    (917, 65217, 1, 1, 32, 5.0, 0.0, "m"),
    (3695, 57344, 6, 1, 2, 1.0, 0.0, "state"),
    (3696, 57344, 6, 3, 2, 1.0, 0.0, "state"),
    (3697, 64892, 1, 1, 3, 1.0, 0.0, "state"),
    (1873, 65093, 1, 1, 8, 0.4, 0.0, "%"),
    (1883, 65091, 1, 1, 16, 0.125, 0.0, "rpm"),
    (184, 65266, 3, 1, 16, 1 / 512, 0.0, "km/L"),
    (964, 65254, 6, 1, 8, 1.0, 1985.0, "year"),
    (5246, 65110, 6, 6, 3, 1.0, 0.0, "state"),
]


@pytest.mark.parametrize("spot", SPOTS, ids=[str(spot[0]) for spot in SPOTS])
def test_signal_spots(spot: tuple[int, int, int, int, int, float, float, str]) -> None:
    rows = [row for row in signal_rows() if (row.spn, row.pgn) == spot[:2]]
    assert len(rows) == 1
    row = rows[0]
    found = (
        *(row.spn, row.pgn, row.start_byte, row.start_bit, row.length_bits),
        *(row.resolution, row.offset, row.unit),
    )
    assert found == spot


def test_the_kinds_of_failure_are_all_32() -> None:
    assert [fmi_of(number).fmi for number in range(32)] == list(range(32))
    # Grouping by reference sheet 2.4.
    groups = {number: fmi_of(number).group for number in range(32)}
    assert {n for n, g in groups.items() if g == "circuit"} == {3, 4, 5, 6}
    assert {n for n, g in groups.items() if g == "condition"} == {0, 1, 15, 16, 17, 18, 20, 21}
    assert {n for n, g in groups.items() if g == "signal"} == {2, 8, 9, 10, 19}
    assert {n for n, g in groups.items() if g == "mechanical"} == {7}
    assert {n for n, g in groups.items() if g == "device"} == {12, 13}
    assert {n for n, g in groups.items() if g == "maker"} == {11, 14, 31}
    assert {n for n, g in groups.items() if g == "reserved"} == set(range(22, 31))
    with pytest.raises(DictionaryError, match="FMI 32 does not exist"):
        fmi_of(32)


def test_every_signal_lies_in_a_named_group() -> None:
    for row in signal_rows():
        known = group(row.pgn)
        assert known is not None
        assert known.acronym == row.acronym


def test_group_numbers_are_group_numbers() -> None:
    for fields in table("pgns"):
        pgn = int(fields["pgn"])
        assert 0 <= pgn <= 0x3FFFF
        if (pgn >> 8 & 0xFF) < 240:
            assert pgn & 0xFF == 0, "a destination-specific group ends in 00"


def test_names_of_parameters_are_public_numbers_only() -> None:
    for fields in table("spn_names"):
        assert 0 < int(fields["spn"]) < 520192
        assert fields["name"][0].isupper()


def test_addresses_and_functions_are_in_range() -> None:
    assert all(0 <= int(row["address"]) <= 255 for row in table("addresses"))
    assert all(0 <= int(row["number"]) <= 255 for row in table("functions"))


def test_a_missing_table_is_one_sentence() -> None:
    with pytest.raises(DictionaryError, match=r"nosuch\.csv is missing"):
        table("nosuch")


def test_loading_needs_no_other_package_and_no_other_room() -> None:
    """Every table is read by the standard library, our values and the error tree alone."""
    code = (
        "import json, sys\n"
        "from shearbolt.dictionary import faults, merged, phrases, rules, signals\n"
        "for row in signals.signal_rows(): rules.raw_rules(row)\n"
        "merged.Dictionary.ours().text(100, 4)\n"
        "phrases.known_phrases()\n"
        "print(json.dumps(sorted(sys.modules)))\n"
    )
    # Without site, nothing that an environment loads at every start counts; the path is ours.
    run = subprocess.run(
        [sys.executable, "-S", "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )
    modules = json.loads(run.stdout)
    packages = {name.partition(".")[0] for name in modules} - set(sys.stdlib_module_names)
    assert packages == {"__main__", "shearbolt"}
    ours = [name for name in modules if name.startswith("shearbolt.")]
    assert "shearbolt.dictionary.signals" in ours
    assert {name.split(".")[1] for name in ours} == {"dictionary", "model", "errors"}
