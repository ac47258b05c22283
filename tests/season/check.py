"""What two weeks on a simulated rig must have left; see `run` beside this."""

import json
import sys
from pathlib import Path
from statistics import fmean
from typing import Any

FACES = 8
SERIES = 3
"""Runs of each."""


def main(answer: Path, study: Path) -> None:
    """Compare the answer with the truth, and the run files with what was done."""
    text = answer.read_text("utf-8")
    angles = json.loads(text[text.index("{") :])["angles"]
    runs = [_run(path) for path in sorted((study / "runs").rglob("*.run.jsonl"))]
    days = sorted({run["day"] for run in runs})
    assert len(days) == 3, days
    assert len(runs) == 3 * FACES * SERIES, len(runs)

    # The calibration that was made is the one in force.
    (made,) = (study.parent / "twin-calibration").glob("*.json")
    in_force = {run["calibrated"] for run in runs}
    assert in_force == {json.loads(made.read_text("utf-8"))["made_at"]}, in_force

    # The weather differs from day to day, treatments act on what was treated, and not at once.
    damp = [fmean(run["humidity"] for run in runs if run["day"] == day) for day in days]
    assert max(damp) - min(damp) > 3.0, damp
    for day, least in ((days[1], 0.4), (days[2], 0.7)):
        fell = {bag: _fall(runs, bag, days[0], day) for bag in ("Quay 1", "Quay 2", "Quay 3")}
        # Air and wear act on the control alike.
        shared = _fall(runs, "Quay 4", days[0], day)
        assert fmean(fell.values()) - shared > least, (fell, shared)

    held = sum(one["lower_deg"] <= one["true_angle_deg"] <= one["upper_deg"] for one in angles)
    off = fmean(abs(one["angle_deg"] - one["true_angle_deg"]) for one in angles)
    print(f"{held} of {len(angles)} ranges hold the truth; off by {off:.2f}° in the mean.")
    print(f"Humidity {', '.join(f'{one:.0f}' for one in damp)} % on {', '.join(days)}.")
    assert len(angles) == FACES
    assert held >= FACES - 1
    assert off < 0.6


def _run(path: Path) -> dict[str, Any]:
    lines = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    head = lines[0]
    truth = path.with_name(path.name.removesuffix(".run.jsonl") + ".truth.json")
    known = json.loads(truth.read_text("utf-8"))
    return {
        "bag": head["bag"],
        "face": head["face"],
        "day": head["started_at"][:10],
        "calibrated": head["calibration"]["made_at"],
        "humidity": known["surface_humidity_pct"],
        "true_deg": known["onset_angle_deg"],
    }


def _fall(runs: list[dict[str, Any]], bag: str, before: str, after: str) -> float:
    """By how much the slick face slid earlier, in degrees."""
    first, then = (
        fmean(
            run["true_deg"]
            for run in runs
            if (run["bag"], run["face"], run["day"]) == (bag, "slick", day)
        )
        for day in (before, after)
    )
    return first - then


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
