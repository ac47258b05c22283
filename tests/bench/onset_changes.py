"""What another solver of the onset changes in run files that exist.

`python -m tests.bench.onset_changes FOLDER… --dump FILE` keeps the angles of the program as it is;
a later program run with `--before FILE` prints the table of ONSET.md, and with `--write` puts it
there.
"""

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from rig.analysis.load import analyse
from tests.bench.heading import Table, columns
from tests.bench.inputs import ONSET

Rows = dict[str, dict[str, Any]]
KEYS = ("onset_angle_deg", "u_onset_angle_deg", "mu_kinetic", "valid", "flags", "rate_deg_s")
TITLES = (
    *(
        "files",
        "rate °/s",
        "runs",
        "valid before",
        "now",
        "angle now less before °",
        "its scatter °",
    ),
    *("u before °", "now °", "µk now less before", "flags new", "flags gone"),
)


def looked_at(folders: list[Path]) -> Rows:
    """What the analysis says of each run, by the folder that was named and the run's name."""
    found = {}
    for folder in folders:
        for run in analyse([folder]).runs:
            row = run.result
            found[f"{folder.name}/{row.run_id}"] = {key: getattr(row, key) for key in KEYS}
    return found


def lines_of(before: Rows, now: Rows) -> Iterator[str]:
    """The lines of the table in Markdown."""
    yield from columns(*TITLES)
    groups: dict[tuple[str, float], list[str]] = {}
    for name, row in now.items():
        groups.setdefault((name.partition("/")[0], row["rate_deg_s"]), []).append(name)
    for (folder, rate), names in sorted(groups.items()):
        pairs = [(before[name], now[name]) for name in names if name in before]
        both = [(a, b) for a, b in pairs if a["valid"] and b["valid"]]
        change = np.array([b["onset_angle_deg"] - a["onset_angle_deg"] for a, b in both])
        kinetic = [
            b["mu_kinetic"] - a["mu_kinetic"]
            for a, b in both
            if a["mu_kinetic"] is not None and b["mu_kinetic"] is not None
        ]
        new = sorted({flag for a, b in pairs for flag in set(b["flags"]) - set(a["flags"])})
        gone = sorted({flag for a, b in pairs for flag in set(a["flags"]) - set(b["flags"])})
        cells = (
            folder,
            f"{rate:g}",
            str(len(pairs)),
            str(sum(a["valid"] for a, _ in pairs)),
            str(sum(b["valid"] for _, b in pairs)),
            f"{change.mean():+.3f}",
            f"{change.std():.3f}",
            f"{np.median([a['u_onset_angle_deg'] for a, _ in both]):.3f}",
            f"{np.median([b['u_onset_angle_deg'] for _, b in both]):.3f}",
            f"{np.mean(kinetic):+.4f}",
            ", ".join(new) or "–",
            ", ".join(gone) or "–",
        )
        yield f"| {' | '.join(cells)} |"


def main() -> None:
    """Keep what is said now, or compare it with what was said before."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--dump", type=Path, help="keep it here")
    parser.add_argument("--before", type=Path, help="what was kept")
    parser.add_argument("--name", default="old run files", help="of the table")
    parser.add_argument("--write", action="store_true", help="put the table into ONSET.md")
    options = parser.parse_args()
    now = looked_at(options.folders)
    if options.dump is not None:
        options.dump.write_text(json.dumps(now), "utf-8")
        return
    before = json.loads(options.before.read_text("utf-8"))
    table = Table("tests/bench/ONSET.md", options.name, (*ONSET, "tests/bench/onset_changes.py"))
    table.show(lines_of(before, now), seed="of the folders", write=options.write)


if __name__ == "__main__":
    main()
