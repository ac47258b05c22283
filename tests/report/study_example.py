"""An invented study, measured by the fast simulator as its plan says, for figures and the page.

Run: python -m tests.report.study_example FOLDER [--small]
"""

import argparse
import sys
from datetime import UTC, datetime, timedelta
from math import exp
from pathlib import Path
from unittest import mock

import msgspec
import numpy as np

from rig.calibration.file import save_calibration
from rig.calibration.model import Calibration
from rig.commands.main import main
from rig.settings.model import Settings
from rig.study.folder.study import open_study
from rig.study.plan.rows import PlanRow, read_plan
from rig.twin.calibration import calibration_for
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import Face
from rig.twin.scenario import AirTruth, Scenario
from tests.fastsim.run import simulate_run, write_run

CLIMATES = {"dry": (21.0, 34.0), "mild": (22.0, 50.0), "damp": (20.5, 66.0)}
EFFECTS = {"soft rinse": 0.93, "tumble": 1.02}
SEED = 7
FLOOR_DEG = (0.0, 0.01, 0.03, 0.02, 0.05, 0.06)


def rig(*words: str) -> None:
    """Call a command as a person would; it must end well."""
    with mock.patch.object(sys, "argv", ["rig", *words]):
        try:
            main()
        except SystemExit as end:
            assert not end.code, words  # noqa: PT017


def build(folder: Path, *, small: bool = False, name: str = "Boat shed", odd_bag: str = "") -> Path:
    """Make the study, and runs for every row of its plan.

    Args:
        folder: where; must not exist yet.
        small: one face, two climates, five bags, three runs of each series.
        name: of the study.
        odd_bag: name of one more untreated bag.
    """
    study = str(folder)
    runs = "3" if small else "4"
    rig("study", "new", study, "--name", name, "--runs", runs, "--wish", "19.5", "--seed", "3")
    rig("study", "board", study, "shed board", "--material", "birch plywood", "--finish", "varnish")
    for climate, (t, h) in CLIMATES.items():
        if not (small and climate == "mild"):
            air = ("--temperature", f"{t:g}:2", "--humidity", f"{h:g}:4")
            rig("study", "climate", study, climate, *air)
    soak = "soak: agent=conditioner, dose=20 ml per litre, temperature=30, time=45"
    rig("study", "treat", study, "--recipe", "soft rinse", "--step", soak, "--step", "rinse")
    rig("study", "treat", study, "--recipe", "tumble", "--step", "tumble: temperature=40, time=20")
    for bag, role, treatment, set_ in _bags(small, odd_bag):
        words = ["--role", role, "--mass", "441", "--fabric-thickness", "0.6"]
        words += ["--treatment", treatment] if treatment else []
        words += ["--set", set_] if set_ else []
        words += ["--face", "slick=twill"] if small else ["--face", "slick=twill", "--face", "grip"]
        rig("study", "bag", study, bag, *words)
    rig("study", "plan", study)
    _measure(folder)
    _droop(folder)
    return folder


def _bags(small: bool, odd_bag: str) -> list[tuple[str, str, str, str]]:
    bags = [
        ("Heron 1", "treated", "soft rinse", "Heron"),
        ("Heron 2", "treated", "soft rinse", "Heron"),
        ("Heron 3", "control", "", "Heron"),
        ("Heron 4", "control", "", "Heron"),
        ("Plover", "reference", "", ""),
    ]
    if not small:
        bags += [
            ("Dunlin 1", "treated", "tumble", "Dunlin"),
            ("Dunlin 2", "treated", "tumble", "Dunlin"),
            ("Dunlin 3", "control", "", "Dunlin"),
        ]
    return bags + ([(odd_bag, "control", "", "Heron")] if odd_bag else [])


def _measure(folder: Path) -> None:
    study = open_study(folder)
    settings = Settings(name="the rig in the boat shed")
    calibration = _calibration(settings)
    save_calibration(folder / "calibration" / "2026-03-02.json", calibration)
    at = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)
    session, series = "", 0
    for row in read_plan(study):
        if row.session and row.session != session:
            session = row.session
            at = (at + timedelta(days=3)).replace(hour=8, minute=0)
        if row.action == "treat":
            at += timedelta(minutes=10)
            words = ("--bag", row.bag, "--recipe", row.treatment, "--at", f"{at:%Y-%m-%dT%H:%MZ}")
            rig("study", "treat", str(folder), *words)
        elif row.is_series:
            at += timedelta(minutes=3)
            at = _series(folder, settings, calibration, row, series, at)
            series += 1


def _calibration(settings: Settings) -> Calibration:
    made = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    plain = calibration_for(
        _scenario(PlanRow(row="", stage="baseline", action="run"), 0), settings, SEED, made_at=made
    )
    angles = (0.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 30.0, 25.0, 20.0, 15.0, 10.0)
    rest = np.random.default_rng(SEED).normal(0.0, 0.022, len(angles))
    return msgspec.structs.replace(
        plain,
        angles_deg=angles,
        residuals_deg=tuple(float(value) for value in rest.round(3)),
        reference="sine bar with spirit level",
        u_reference_deg=0.03,
    )


def _series(
    folder: Path,
    settings: Settings,
    calibration: Calibration,
    row: PlanRow,
    series: int,
    at: datetime,
) -> datetime:
    scenario = _scenario(row, series)
    day = folder / "runs" / f"{at:%Y-%m-%d}"
    day.mkdir(parents=True, exist_ok=True)
    for number in range(1, row.runs + 1):
        at += timedelta(minutes=1)
        lines, truth = simulate_run(
            settings,
            scenario,
            SEED,
            number=number,
            rate_deg_s=1.0,
            dwell_s=10.0,
            calibration=calibration,
            run_id=f"{at:%Y%m%dT%H%M%S}-{series:03d}-{number}",
            started_at=f"{at:%Y-%m-%dT%H:%M:%SZ}",
            bag=row.bag,
            face=row.face,
            board=row.board,
            set=None,
            treatment_stage=row.stage,
            session=row.session,
            series=row.row,
            bag_mass_g=441.0,
            operator="Wren",
        )
        write_run(day, lines, truth)
    return at


def _scenario(row: PlanRow, series: int) -> Scenario:
    """What is true of this bag in this sitting."""
    random = np.random.default_rng([SEED, *row.bag.encode()])
    mu = (0.335 if row.face != "grip" else 0.46) * (1.0 + 0.03 * float(random.normal()))
    if row.stage != "baseline":
        first = {"Heron 1": "soft rinse", "Heron 2": "soft rinse"}
        done = first.get(row.bag, "tumble" if row.bag in ("Dunlin 1", "Dunlin 2") else "")
        mu *= EFFECTS.get(done, 1.0) * 0.995
    face = Face(
        mu_static_dry=mu,
        mu_kinetic_dry=mu - 0.03,
        humidity_gain=0.22,
        settle_gain=0.02 * exp(-series / 40.0),
        scatter_run=0.006,
        scatter_series=0.006,
        scatter_session=0.008,
    )
    temperature, humidity = CLIMATES.get(row.climate, (22.0, 50.0))
    sitting = np.random.default_rng([SEED, *row.session.encode()])
    air = AirTruth(
        temperature_c=temperature + float(sitting.normal(0.0, 0.5)),
        relative_humidity_pct=humidity + float(sitting.normal(0.0, 1.0)),
        board_offset_k=-1.5,
    )
    scenario = draw_scenario(
        SEED, face=face, air=air, session=row.session or "session", series=row.row
    )
    number = int(row.session.rpartition("s")[2]) - 1 if row.session else 0
    return changed(scenario, board={"floor_along_deg": FLOOR_DEG[number % len(FLOOR_DEG)]})


def _droop(folder: Path) -> None:
    study = open_study(folder)
    random = np.random.default_rng(SEED)
    for stage in ("baseline", "after 1"):
        for name, bag in study.catalogue.bags.items():
            for face in bag.faces:
                soft = 8.0 if stage != "baseline" and bag.treatment == "soft rinse" else 0.0
                middle = (48.0 if face == "slick" else 38.0) + soft + float(random.normal(0.0, 3.0))
                angles = [f"{middle + d:.0f}" for d in random.normal(0.0, 1.5, 3)]
                words = [word for angle in angles for word in ("--angle", angle)]
                at = ("--at", "2026-03-10T12:00Z" if stage == "baseline" else "2026-04-20T12:00Z")
                place = ("--up", face, "--overhang", "51", "--stage", stage, "--reader", "Wren")
                rig("study", "droop", str(folder), name, *place, *words, *at)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--small", action="store_true")
    given = parser.parse_args()
    build(given.folder, small=given.small)
