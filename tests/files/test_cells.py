import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rig
from rig.files.cells import plain_cell, safe_cell

RUN_BY_A_SPREADSHEET = "=+-@\t\r"
"""First characters, as OWASP's page on CSV injection has them (from memory)."""


@pytest.mark.parametrize("first", RUN_BY_A_SPREADSHEET)
def test_what_a_spreadsheet_would_run_becomes_a_text(first: str) -> None:
    assert safe_cell(f"{first}1+1") == f"'{first}1+1"


@pytest.mark.parametrize("cell", ["Quay 1", "", "a=b", "'tis", -0.5, 3, None, True])
def test_other_texts_and_numbers_stay_as_they_are(cell: object) -> None:
    assert safe_cell(cell) is cell


@given(st.text(st.sampled_from("'=+-@\t\ra1 "), max_size=6) | st.text())
def test_every_text_comes_back(text: str) -> None:
    safe = safe_cell(text)
    assert isinstance(safe, str)
    assert plain_cell(safe) == text
    assert not safe.startswith(tuple(RUN_BY_A_SPREADSHEET))


def test_a_csv_file_gives_back_texts_and_numbers() -> None:
    cells = ["=SUM(A1)", "'=x", "-20 °C", -1.5, "@home"]
    buffer = io.StringIO()
    csv.writer(buffer).writerow(map(safe_cell, cells))
    read = next(csv.reader(io.StringIO(buffer.getvalue(), newline="")))
    assert [plain_cell(cell) for cell in read] == [str(cell) for cell in cells]
    assert float(read[3]) == -1.5


def test_whoever_writes_a_csv_file_makes_its_texts_safe() -> None:
    writers = {
        path.name: text
        for path in Path(rig.__file__).parent.rglob("*.py")
        if "csv.writer(" in (text := path.read_text("utf-8")) or "csv.DictWriter(" in text
    }
    assert {"export.py", "table.py", "rows.py", "units.py"} <= set(writers)
    assert all("safe_cell" in text for text in writers.values())
