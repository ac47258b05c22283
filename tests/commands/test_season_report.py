"""The report of a season is small enough to send and short enough to read."""

import re
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from rig.files.stamps import parse_utc, utc_text
from rig.study.folder.journal import Play, Reading
from rig.study.folder.study import open_study
from tests.commands.conftest import Rig
from tests.report.fonts import open_fonts
from tests.study.answer.evening import NOW, evening

pytestmark = pytest.mark.long
SESSIONS, BAGS = 20, 8


@pytest.fixture(scope="module", autouse=True)
def _drawn_before() -> None:
    open_fonts()


@pytest.fixture
def season(tmp_path: Path) -> Path:
    """An evening with a treatment, then a reading of all bags and play every few days."""
    study = evening(tmp_path / "season", treated=BAGS - 1, humidity_pct=(40.0, 60.0))
    rng = np.random.default_rng(20)
    last = study.journal.of(Reading)[-2 * BAGS :]
    notes: list[Reading | Play] = []
    for number in range(3, SESSIONS + 1):
        later = timedelta(days=1, hours=6) * (number - 2)
        humidity, shift = float(rng.uniform(35, 75)), rng.normal(0.0, 0.3)
        for one in last:
            at = utc_text(_time(one) + later)
            angles = np.asarray(one.angles_deg) + 0.05 * (humidity - 60.0) + shift
            notes.append(
                Reading(
                    at=at,
                    bag=one.bag,
                    face=one.face,
                    board="ash",
                    reader="Ada",
                    stage=one.stage,
                    session=f"evening {number}",
                    angles_deg=tuple(round(float(x), 1) for x in rng.normal(angles, 0.4)),
                    temperature_c=22.0,
                    relative_humidity_pct=round(humidity, 1),
                )
            )
        notes += [
            Play(at=utc_text(_time(one) + later + timedelta(hours=1)), bag=one.bag, throws=100)
            for one in last[::2]
        ]
    study.note(*notes, now=NOW, simulated=True)
    assert len(open_study(study.path).journal.of(Reading)) == 2 * BAGS * SESSIONS
    return study.path


def _time(one: Reading) -> datetime:
    return parse_utc(one.at)


def test_a_seasons_report_is_under_a_megabyte_and_4000_words(rig: Rig, season: Path) -> None:
    out = season / "report.html"
    air = ["--temperature", "22", "--humidity", "50"]
    assert rig("report", str(season), *air, "--out", str(out)).code == 0
    page = out.read_text("utf-8")
    assert len(page.encode()) < 1_000_000
    bare = re.sub(r"<(style|defs)\b.*?</\1>", " ", page, flags=re.DOTALL)
    words = re.sub(r"<[^>]*>", " ", bare).split()
    assert len(words) < 4_000
    front = page.partition('class="appendix"')[0].partition("<body>")[2]
    front = re.sub(r"<(svg|style)\b.*?</\1>", " ", front, flags=re.DOTALL)
    assert len(re.sub(r"<[^>]*>", " ", front).split()) < 450, "the answer fits on a page"
