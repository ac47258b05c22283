"""1,000 run files of 30 s: analysed and compared, then compared again with nothing changed.

Beside it the effects that a regression on means of cells gives, from a CSV of the results with
pandas and statsmodels: another model, so other intervals.

Run: python -m tests.bench.study_speed [--runs 1000] [--folder DIR] [--write]
"""

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter, process_time

from rig.runfile.reader import find_runs, parse_run
from rig.settings.load import load_settings
from rig.study.folder.catalogue import Preferences
from rig.study.folder.journal import Treatment
from rig.study.folder.study import new_study, open_study
from rig.study.slides.results import FOLDER
from rig.twin.draws import draw_scenario
from rig.twin.fabric import plain_face
from tests.bench.heading import Table, columns
from tests.bench.inputs import ONSET
from tests.fastsim.run import simulate_run, write_run

TABLE = Table(
    "tests/bench/STUDY.md",
    "speed",
    (
        *ONSET,
        "rig/commands/compare.py",
        "rig/runfile/reader.py",
        "rig/study/slides/look.py",
        "rig/study/slides/results.py",
        "rig/study/slides/table.py",
        "rig/study/model/fit.py",
        "tests/bench/study_speed.py",
    ),
)
SEED = 3
BEGUN = datetime(2026, 1, 1, 8, tzinfo=UTC)
FIRST_S, SECOND_S = 8.0, 1.5

BAGS = {**{f"T{i}": "soft" for i in range(4)}, **{f"C{i}": "" for i in range(4)}}
CATALOGUE = """
[treatments.soft]
steps = [{ action = "soak", agent = "softener", time_min = 45 }]

[boards.A]
""" + "".join(
    f"\n[bags.{bag}]\n" + (f'treatment = "{soft}"\n' if soft else 'role = "control"\n')
    for bag, soft in BAGS.items()
)
PANDAS = """
import sys, pandas as pd, statsmodels.formula.api as smf
f = pd.read_csv(sys.argv[1])
f["T"] = f.bag.str.startswith("T")
cell = f.groupby(["bag", "T", "face", "treatment_stage", "session"]).onset_angle_deg.mean()
wide = cell.groupby(["bag", "T", "face", "treatment_stage"]).mean().unstack().reset_index()
wide["change"] = wide["after 1"] - wide["baseline"]
for face, own in wide.groupby("face"):
    fit = smf.ols("change ~ T", own).fit()
    low, high = fit.conf_int().loc["T[T.True]"]
    print(face, fit.params["T[T.True]"], low, high)
"""


def make(folder: Path, runs: int) -> float:
    """Write the study; returns the mean size of a run file in kB."""
    if (folder / "study.toml").exists():  # made before: only forget the results
        shutil.rmtree(folder / FOLDER, ignore_errors=True)
        files = find_runs([folder])
        return sum(file.stat().st_size for file in files) / len(files) / 1000.0
    study = new_study(folder, "Speed", Preferences())
    study.catalogue_path.write_text(f"{study.catalogue_path.read_text()}\n{CATALOGUE}")
    study = open_study(folder)
    soft = study.catalogue.treatments["soft"]
    treated = (BEGUN + timedelta(days=5)).isoformat()
    study.note(
        *(
            Treatment(at=treated, bag=bag, stage="after 1", recipe="soft", steps=tuple(soft.steps))
            for bag, treatment in BAGS.items()
            if treatment
        ),
        now=BEGUN + timedelta(days=20),
        simulated=True,
    )
    settings, size = load_settings(None), 0
    cells = [
        (stage, session, bag, face)
        for stage in ("baseline", "after 1")
        for session in range(2)
        for bag in BAGS
        for face in ("slick", "grip")
    ]
    for number in range(1, runs + 1):
        stage, session, bag, face = cells[(number - 1) % len(cells)]
        mu = 0.5 + 0.01 * list(BAGS).index(bag) + (0.05 if face == "grip" else 0.0)
        mu += 0.04 if stage != "baseline" and BAGS[bag] else 0.0
        scenario = draw_scenario(session, face=plain_face(mu, mu - 0.04), session=f"s{session}")
        day = BEGUN + timedelta(days=session + (0 if stage == "baseline" else 7))
        lines, truth = simulate_run(
            settings,
            scenario,
            SEED,
            started_at=(day + timedelta(minutes=number / 2)).isoformat(),
            number=number,
            bag=bag,
            face=face,
            board="A",
            session=f"{stage} {session}",
            series=f"{stage} {session} {bag} {face}",
            slide_number=(number - 1) // len(cells) + 1,
            treatment_stage=stage,
        )
        size += write_run(study.runs_path, lines, truth).stat().st_size
    return size / runs / 1000.0


def timed(*words: str) -> tuple[str, str]:
    """Run a command in a fresh process: "wall | processor" seconds, and stdout."""
    start, before = perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(words, check=True, capture_output=True, text=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return f"{perf_counter() - start:.1f} | {used:.1f}", done.stdout


def parse_time_s(folder: Path) -> float:
    """Processor time to read all run files, as a measure of the machine as it is just now."""
    before = process_time()
    for path in find_runs([folder]):
        parse_run(path, path.read_bytes())
    return process_time() - before


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--folder", type=Path, default=None)
    parser.add_argument("--write", action="store_true", help="put the table into STUDY.md")
    given = parser.parse_args()
    TABLE.show(lines_of(given), seed=SEED, write=given.write)


def lines_of(given: argparse.Namespace) -> Iterator[str]:
    """Make the study and compare it; the lines of the table in Markdown."""
    loads = [os.getloadavg()[0]]
    with tempfile.TemporaryDirectory() as place:
        folder = given.folder or Path(place) / "study"
        kilobytes = make(folder, given.runs)
        rig = str(Path(sys.executable).with_name("rig"))
        command = [rig, "compare", str(folder), "--json"]
        first, out = timed(*command)
        memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
        second, again = timed(*command)
        table = Path(place) / "table.csv"
        timed(rig, "analyse", str(folder), "--table", str(table))
        loads.append(os.getloadavg()[0])
        parse_s = parse_time_s(folder)
        other, theirs = timed(sys.executable, "-c", PANDAS, str(table))
    assert out == again
    yield (
        f"{given.runs} run files of {kilobytes:.0f} kB each; largest process {memory:.0f} MB; load"
        f" {loads[0]:.1f} before, {loads[1]:.1f} after. Wanted of 1,000 files on two free cores:"
        f" first within {FIRST_S:g} s, second within {SECOND_S:g} s. Reading the files alone, one"
        f" by one, took {parse_s:.1f} processor seconds:"
    )
    yield ""
    yield from columns("what", "seconds", "processor seconds")
    yield f"| first `rig compare` (analyses all) | {first} |"
    yield f"| second `rig compare` (nothing changed) | {second} |"
    yield f"| pandas + statsmodels from a CSV of the results, effects only | {other} |"
    yield ""
    yield from columns("face", "by", "effect, °", "lower", "upper")
    for effect in json.loads(out)["treatments"]:
        figures = (effect[f"{name}_deg"] for name in ("effect", "lower", "upper"))
        yield f"| {effect['face']} | rig | {' | '.join(f'{value:.6f}' for value in figures)} |"
    for line in theirs.splitlines():
        face, *texts = line.split()
        yield f"| {face} | others | {' | '.join(f'{float(text):.6f}' for text in texts)} |"


if __name__ == "__main__":
    main()
