"""The notebooks run from top to bottom as they stand. They are kept without outputs."""

import pathlib

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = pathlib.Path(__file__).resolve().parents[2] / "docs/notebooks"
BOOKS = sorted(FOLDER.glob("*.ipynb"))


def test_there_are_two():
    assert [book.stem for book in BOOKS] == ["field", "strip_place"]


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_it_runs(path, monkeypatch):
    monkeypatch.setenv("MPLBACKEND", "agg")
    book = nbformat.read(path, as_version=4)
    assert not any(cell.get("outputs") for cell in book.cells)
    NotebookClient(book, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(path.parent)}}).execute()
    printed = "".join(output.get("text", "") for cell in book.cells for output in cell.get("outputs", []))
    assert "kg N" in printed
