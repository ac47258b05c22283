"""One question, one number: every text that a person can read, on studies made at random.

Each interval in a text, `24.6° (23.9 to 25.3)` and the like, must be one of the object `answer`;
and each bag's own must stand in the line that names it. What a text rounds is rounded here from the
object anew.
"""

import json
import re
from math import radians, tan
from multiprocessing import forkserver
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rig.commands import demo
from rig.commands.demo import CLIMATES
from rig.files.stamps import parse_utc
from rig.panel.study.answers import Enquiry, answer_to, shown
from rig.report.document import build
from rig.report.evidence import collect
from rig.report.page import render
from rig.study.answer.ask import air_at, ask
from rig.study.folder.journal import Play
from rig.study.folder.study import open_study
from tests.commands.conftest import Rig
from tests.commands.test_demo import SHORT
from tests.report.fonts import open_fonts
from tests.report.page_reader import Page
from tests.study.answer.evening import NOW, evening

T, RH = 22.0, 50.0
AIR = ["--temperature", f"{T:g}", "--humidity", f"{RH:g}"]
ENDS = re.compile(r"([−+-]?\d+\.\d+)°?(?: to |–)([−+-]?\d+\.\d+)")


@pytest.fixture(scope="module", autouse=True)
def _kept_by_this_process() -> None:
    """What the first test to need it would start for all later ones."""
    open_fonts()
    forkserver.ensure_running()


def study_of(folder: Path, seed: int) -> Path:
    """Bags, faces, models, slides, air, effect and play by lot."""
    rng = np.random.default_rng([6, seed])
    faces = [("slick", "grip"), ("grip",), ("slick",)][int(rng.integers(3))]
    low, high = sorted(rng.uniform(35.0, 65.0, 2).round().tolist())
    study = evening(
        folder,
        treated=int(rng.integers(1, 5)),
        controls=int(rng.integers(0, 3)),
        faces=faces,
        effect_deg=float(rng.choice([0.0, -1.9, 2.5])),
        slides=int(rng.integers(1, 5)),
        humidity_pct=(low, high),
        seed=seed,
    )
    text = study.catalogue_path.read_text("utf-8")
    if rng.random() < 0.5:
        text = text.replace('[bags."Quay 1"]\nmodel = "Quay"', '[bags."Quay 1"]\nmodel = "Pier"')
    if rng.random() < 0.3:
        text = text.replace("[targets.slick]\nangle_deg = 17.5\n", "")
    study.catalogue_path.write_text(text, "utf-8")
    if rng.random() < 0.5:
        bag = str(rng.choice(list(study.catalogue.bags)))
        entry = Play(at="2026-06-01T22:00:00Z", bag=bag, throws=int(rng.integers(20, 400)))
        open_study(folder).note(entry, now=NOW, simulated=True)
    return folder


def rounded(lower: float, upper: float, digits: int = 1) -> tuple[float, float]:
    """An interval as text shows it, its sign aside: effects are said by their size."""
    one, other = (abs(float(f"{end:.{digits}f}")) for end in (lower, upper))
    return min(one, other), max(one, other)


def intervals_of(answer: dict[str, Any]) -> set[tuple[float, float]]:
    """All that the object has, to the digits that are shown."""
    found = set()

    def look(part: Any) -> None:
        if isinstance(part, dict):
            if part.get("lower_deg") is not None:
                found.add(rounded(part["lower_deg"], part["upper_deg"]))
                if "bag" in part:  # the report has coefficients beside the angles
                    lower, upper = tan(radians(part["lower_deg"])), tan(radians(part["upper_deg"]))
                    found.add(rounded(lower, upper, 2))
            for name, value in part.items():
                if name.endswith("_sd_deg"):
                    found.add(rounded(value["lower"], value["upper"], 2))
                look(value)
        elif isinstance(part, list):
            for one in part:
                look(one)

    look(answer)
    return found


def said_in(text: str) -> set[tuple[float, float]]:
    """Intervals that a text names."""
    pairs = [(a.replace("−", "-"), b.replace("−", "-")) for a, b in ENDS.findall(text)]
    return {
        rounded(float(a), float(b), max(len(a.partition(".")[2]), len(b.partition(".")[2])))
        for a, b in pairs
    }


def cells(page: Page) -> str:
    """Each cell and sentence on a line of its own."""
    return "\n".join(one.words for one in page.of("td", "th", "p", "li", "dd", "caption"))


def lines_about(text: str, bag: str, face: str) -> str:
    return "\n".join(line for line in text.splitlines() if bag in line and face in line)


def check(rig: Rig, folder: Path) -> int:
    """Compare all texts of a study; returns how many intervals were read."""
    club = str(folder)
    in_air = rig("answer", club, *AIR, "--json").document
    of_newest = rig("answer", club, "--json").document
    assert rig("compare", club, "--json").document["treatments"] == of_newest["treatments"]
    asked = ask(open_study(folder), air=air_at(T, RH))
    page = render(build(collect(asked)), [], study=folder, folder=folder / "report")
    desk = shown(answer_to(folder, Enquiry(temperature_c=T, relative_humidity_pct=RH)))
    assert rig("sheet", club, *AIR, "--out", "sheet.html").code == 0
    sheet = Page(Path("sheet.html").read_text("utf-8"))
    texts = {
        "answer": rig("answer", club, *AIR, "--all").out,
        "choose": rig("choose", club, *AIR).out,
        "sheet": rig("sheet", club, *AIR, "--text").out,
        "printed sheet": cells(sheet),
        "desk": json.dumps(desk, ensure_ascii=False),
        "desk's bags": "\n".join(
            f"{one['bag']} {one['face']} {one['now']}" for one in desk["bags"]
        ),
        "report": cells(Page(page)),
    }
    known, n_read = intervals_of(in_air), 0
    for name, text in texts.items():
        found = said_in(text)
        n_read += len(found)
        assert found <= known, (name, found - known)
    newest = {"compare": rig("compare", club).out, "answer": rig("answer", club).out}
    known = intervals_of(of_newest)
    for name, text in newest.items():
        found = said_in(text)
        n_read += len(found)
        assert found <= known, (name, found - known)
    for one in in_air["bags"]:
        mine = rounded(one["lower_deg"], one["upper_deg"])
        for name in ("answer", "desk's bags"):
            lines = said_in(lines_about(texts[name], one["bag"], one["face"]))
            assert mine in lines, (name, one["bag"], one["face"])
        if one["target_deg"] is not None:
            assert mine in said_in(lines_about(texts["choose"], one["bag"], one["face"]))
    return n_read


@pytest.mark.parametrize("seed", [1, 2])
def test_every_text_says_the_objects_numbers(rig: Rig, tmp_path: Path, seed: int) -> None:
    assert check(rig, study_of(tmp_path / "club", seed)) > 20


@pytest.mark.long
@pytest.mark.parametrize("seed", range(3, 51))
def test_every_text_of_many_studies(rig: Rig, tmp_path: Path, seed: int) -> None:
    assert check(rig, study_of(tmp_path / "club", seed)) > 10


@pytest.mark.long
def test_every_text_of_the_demonstration(
    rig: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Slides of the rig instead of readings: a demonstration with fewer bags, in one climate."""
    monkeypatch.setattr(demo, "BAGS", SHORT)
    monkeypatch.setattr(demo, "CLIMATES", CLIMATES[:1])
    made = rig("demo", "--out", "shed")
    assert made.code == 0, made.err
    assert check(rig, tmp_path / "shed" / "club") > 10


def test_a_number_from_elsewhere_is_seen() -> None:
    answer = {"bags": [{"lower_deg": 23.94, "upper_deg": -25.26}], "scatter": {}}
    assert intervals_of(answer) == {(23.9, 25.3)}
    assert said_in("24.6° (23.9 to 25.3) and −1.2 to +0.4°") == {(23.9, 25.3), (0.4, 1.2)}
    assert parse_utc("2026-06-01T22:00:00Z") < NOW
