"""A book for the pages, and the pages of it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.web.pages import Pages, faulty_yard


@pytest.fixture(scope="session")
def made_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book made once; nobody writes into it."""
    return faulty_yard(tmp_path_factory.mktemp("pages")).book


@pytest.fixture
def book(made_book: Path, tmp_path: Path) -> Path:
    """A book of the test's own."""
    return Path(shutil.copytree(made_book, tmp_path / "book"))


@pytest.fixture
def pages(book: Path) -> Iterator[Pages]:
    """The pages of that book."""
    with Pages(book) as client:
        yield client


@pytest.fixture(scope="module")
def read_pages(made_book: Path) -> Iterator[Pages]:
    """The pages of the book that nobody writes into."""
    with Pages(made_book) as client:
        yield client
