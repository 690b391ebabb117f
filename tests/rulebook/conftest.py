"""The shipped rulebook, read and made once."""

import pytest

from qc.rulebook.book import Book
from qc.rulebook.project.pages import shipped_host, shipped_pages


@pytest.fixture(scope="session")
def book():
    return Book.of(shipped_host())


@pytest.fixture(scope="session")
def made(book):
    return shipped_pages(book)
