"""What an answer costs: processor seconds and memory, of a large study and a usual one.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.model_times --write

Each size in a process of its own. *First*: reduction of the slide table, fit, object `answer`.
*Later*: kept draws read again, object `answer` for other air. Reading of run files is left out.
Processor seconds depend on the machine and little on what else it does; *against pandas* is the
first answer over the time in which the same process imports pandas and statsmodels, for another
machine.
"""

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import numpy as np

from rig.study.answer.ask import air_at
from rig.study.answer.build import answer
from rig.study.answer.question import Aim, Question
from rig.study.folder.study import new_study, open_study
from rig.study.model.data import model_data
from rig.study.model.fit import fit
from rig.study.model.store import load, save
from rig.study.slides.table import SlideTable
from tests.bench.heading import ROOT, Table, columns
from tests.bench.model_studies import FILE, INPUTS
from tests.bench.worlds import Layout, draw_world, make_study

TABLE = Table(FILE, "times", (*INPUTS, "tests/bench/model_times.py"))
RECIPES = ("soak", "wash")
SIZES = {
    "a usual study": Layout(
        {"A": "soak", "B": "soak", "C": "wash", "D": "wash", "E": None, "F": None},
        stages=3, sessions_each=4, slides=3,
    ),
    "a large study": Layout(
        {f"{i}": ("soak", "wash", None)[i % 3] for i in range(16)},
        models=("heron", "dunlin"), stages=4, sessions_each=5, slides=3, throws=100,
    ),
}  # fmt: skip


def one(name: str) -> dict[str, float]:
    """The times of one size, in this process."""
    layout = SIZES[name]
    rng = np.random.default_rng([20, len(layout.bags)])
    slides, facts, _ = make_study(draw_world(rng, RECIPES), layout, rng)
    aims = {face: Aim(angle_deg=22.0, tolerance_deg=0.5) for face in layout.faces}
    with tempfile.TemporaryDirectory() as place:
        study = new_study(Path(place) / "study", "Times")
        text = study.catalogue_path.read_text("utf-8")
        bags = "".join(f'[bags."{bag}"]\nmodel = "{facts.models[bag]}"\n' for bag in layout.bags)
        study.catalogue_path.write_text(f"{text}\n{bags}", "utf-8")
        study = open_study(study.path)
        table = SlideTable(slides, [], {})
        before = time.process_time()
        data = model_data(slides, facts)
        draws = fit(data)
        answer(study, table, draws, Question(air=air_at(22.0, 50.0), targets=aims))
        first = time.process_time() - before
        save(study.path / "draws", "key", draws)
        del draws
        before = time.process_time()
        kept = load(study.path / "draws", "key")
        assert kept is not None
        answer(study, table, kept, Question(air=air_at(22.0, 60.0), targets=aims))
        later = time.process_time() - before
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    before = time.process_time()
    for module in ("pandas", "statsmodels.formula.api"):
        import_module(module)
    return {
        "slides": len(slides),
        "series": len(data.series),
        "faces": len(data.now),
        "first": first,
        "later": later,
        "memory": memory,
        "imports": time.process_time() - before,
    }


def lines() -> Iterator[str]:
    """The table."""
    yield from columns(
        "study", "slides", "series", "bag faces", "first answer, s", "later ones, s",
        "against pandas", "largest memory, MB",
    )  # fmt: skip
    for name in SIZES:
        words = [sys.executable, "-m", "tests.bench.model_times", "--one", name]
        done = subprocess.run(words, check=True, capture_output=True, text=True, cwd=ROOT)
        at = json.loads(done.stdout)
        yield (
            f"| {name} | {at['slides']} | {at['series']} | {at['faces']} | {at['first']:.2f} |"
            f" {at['later']:.2f} | {at['first'] / at['imports']:.2f} | {at['memory']:.0f} |"
        )


def main() -> None:
    """Measure each size and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--one", choices=list(SIZES))
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    if given.one:
        print(json.dumps(one(given.one)))
    else:
        TABLE.show(lines(), seed="20", write=given.write)


if __name__ == "__main__":
    main()
