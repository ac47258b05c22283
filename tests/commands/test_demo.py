"""`rig demo`, with fewer bags and one climate so that it is short."""

import re
from multiprocessing import forkserver
from pathlib import Path

import pytest

from rig.commands.demo import CLIMATES
from tests.commands.conftest import Rig
from tests.report.fonts import open_fonts


@pytest.fixture(scope="module", autouse=True)
def _kept_by_this_process() -> None:
    """What the first test to need it would start for all later ones."""
    open_fonts()
    forkserver.ensure_running()


def test_the_whole_story_is_told(rig: Rig, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    bags = (("Heron 1", "Heron", "soft soak"), ("Knot 1", "Knot", None), ("Knot 2", "Knot", None))
    monkeypatch.setattr("rig.commands.demo.BAGS", bags)
    monkeypatch.setattr("rig.commands.demo.CLIMATES", CLIMATES[:1])
    said = rig("demo", "--out", "shed")
    assert said.code == 0, said.err
    given = re.findall(r"^\$ rig (\w+)", said.out, re.MULTILINE)
    assert given[0] == "level"
    assert {"study", "run", "answer", "compare", "sheet", "report"} <= set(given)
    for name in ("report.html", "match-day.html"):
        assert (tmp_path / "shed" / "club" / "report" / name).stat().st_size > 3_000
    # What the program says of its errors, against the truth beside each run file.
    rows = re.findall(r"^(.+?)  +(slick|grip) +\d+ +\S+° +(\S+)° +(\S+)° +(\S+)°$", said.out, re.M)
    assert {row[:2] for row in rows} >= {("Heron 1", "grip"), ("Knot 2", "slick")}
    figures = [[float(word.replace("−", "-")) for word in row[2:]] for row in rows]
    for error, rms, late in figures:
        assert abs(error) <= rms < 0.4
        assert late > error + 0.15
    effects = re.findall(r"^- .*soft soak .*the (\w+) face .* True: \S+°\.$", said.out, re.M | re.I)
    assert sorted(effects) == ["grip", "slick"]
