"""`rig demo`: an invented study on the twin, measured as a real one is."""

import json as jsonlib
import sys
from pathlib import Path
from statistics import mean
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rig.commands.options import Json, Seed, print_json, say

if TYPE_CHECKING:
    from rig.commands.series import Series

CELLS = [
    (climate, bag, face)
    for climate in ("cold dry", "hot humid")
    for bag, face in (("Heron 1", "slick"), ("Heron 1", "grip"), ("Dunlin 1", "slick"))
]
REPEATS = 5


def demo(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="New folder for what the demo makes.")
    ],
    seed: Seed = 2026,
    json: Json = False,
) -> None:
    """Measure three invented bag faces in two climates on the twin, and compare with its truth."""
    from rig.commands.series import Series
    from rig.errors import BadInputError
    from rig.opening import open_rig
    from rig.procedures.requests import plan_series
    from rig.settings.model import Settings

    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise BadInputError(f"{out} exists and is not empty; name a new folder with --out.")
    settings = Settings(name="the twin in the boat shed")
    say(
        "Everything here is invented: the bags, the climates, the rig. The program is the one that"
        " runs on a real rig; only pins, I2C bytes and the clock are simulated."
    )
    cells: list[dict[str, Any]] = []
    for climate, bag, face in CELLS:
        opened = open_rig(settings, twin=True, seed=seed, bag=bag, face=face, climate=climate)
        requests = plan_series(
            settings,
            REPEATS,
            source=opened.source,
            started=opened.machine.clock.utc_now(),
            bag=bag,
            face=face,
            board="shed board",
            session=climate,
        )
        if not json:
            print(f"\n{bag}, {face} face, {climate} air: rig run --twin --repeat {REPEATS}")
        series = Series(opened, out / "runs", quiet=json)
        failure = series.make(requests, start_now=True)
        if failure is not None:
            raise failure
        cells.append(_compare(climate, series))
    if json:
        print_json({"cells": cells})
    else:
        _print_comparison(cells)
        print(
            f"\nThe run files are in {out / 'runs'}; analyse them with: rig analyse {out / 'runs'}"
        )
    if not all(cell["n_runs"] for cell in cells):
        sys.exit(1)


def _compare(climate: str, series: "Series") -> dict[str, Any]:
    """One row of the closing table: what was measured, and what the twin knows."""
    from rig.analysis.load import analyse

    found = analyse(series.paths)
    runs = [run.result for run in found.runs]
    valid = {Path(run.run_file): run for run in runs if run.valid}
    truths = [jsonlib.loads(_truth_path(path).read_text("utf-8")) for path in valid]
    errors = [
        run.onset_angle_deg - truth["onset_angle_deg"]
        for run, truth in zip(valid.values(), truths, strict=True)
        if run.onset_angle_deg is not None
    ]
    late = [
        run.angle_at_break_deg - truth["onset_angle_deg"]
        for run, truth in zip(valid.values(), truths, strict=True)
        if run.angle_at_break_deg is not None
    ]
    first, group = runs[0], found.groups[0]
    return {
        "bag": first.bag,
        "face": first.face,
        "climate": climate,
        "temperature_c": mean(run.temperature_c or 0.0 for run in valid.values()),
        "relative_humidity_pct": mean(run.relative_humidity_pct or 0.0 for run in valid.values()),
        "n_runs": len(valid),
        "mean_onset_angle_deg": group.mean_onset_angle_deg,
        "mean_mu_static": group.mean_mu_static,
        "expanded_mu_static": group.expanded_mu_static,
        "true_mean_mu_static": mean(truth["mu_static"] for truth in truths),
        "mean_error_deg": mean(errors),
        "mean_error_at_break_deg": mean(late),
    }


def _truth_path(run_file: Path) -> Path:
    return run_file.with_name(run_file.name.removesuffix(".run.jsonl") + ".truth.json")


def _print_comparison(cells: list[dict[str, Any]]) -> None:
    head = (
        f"{'bag':<9} {'face':<6} {'air':<10} {'°C':>5} {'%RH':>4} {'n':>2}"
        f" {'slide':>7} {'µ static ± U95':>16} {'true µ':>7} {'error':>8} {'error at break':>15}"
    )
    print("\nWhat was measured, and what the twin knows:\n")
    print(head)
    print("-" * len(head))
    for cell in cells:
        print(
            f"{cell['bag']:<9} {cell['face']:<6} {cell['climate']:<10}"
            f" {cell['temperature_c']:>5.1f} {cell['relative_humidity_pct']:>4.0f}"
            f" {cell['n_runs']:>2} {cell['mean_onset_angle_deg']:>6.2f}°"
            f" {cell['mean_mu_static']:>7.4f} ± {cell['expanded_mu_static']:>6.4f}"
            f" {cell['true_mean_mu_static']:>7.4f} {cell['mean_error_deg']:>+7.3f}°"
            f" {cell['mean_error_at_break_deg']:>+14.3f}°"
        )
    print(
        "\n`error` is the mean of measured less true slide angle. The part that all rows share is"
        "\nthe calibration's: it is in the ±, and it cancels between bags. `error at break` is that"
        "\nof the angle at which the beam broke, which one would read off without the analysis: it"
        "\nchanges from bag to bag, with the gap and with how friction falls once the bag moves."
    )
