"""What the golden tests share: the open recordings in books of their own, decoded once, and part of
the demo season, lived and filed once."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.golden.brought import FILES, Brought, bring
from tests.golden.lived_season import Season, filed_in


@pytest.fixture(scope="session")
def brought(recordings_dir: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Brought]:
    """Every open recording, brought into a book of its own by the command line."""
    books = tmp_path_factory.mktemp("books")
    return {where: bring(recordings_dir, where, books) for where in FILES}


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Season:
    """Part of the demo season in a book, with all that is true of it."""
    return filed_in(tmp_path_factory.mktemp("season"))
