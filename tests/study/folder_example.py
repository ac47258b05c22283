"""An invented study in a folder, and small run files for it."""

from pathlib import Path

import msgspec

from rig.runfile.model import Climate, End, Event, Flag, Line, Outcome
from rig.study.catalogue import Preferences, Step
from rig.study.folder import Study, new_study, open_study
from rig.study.plan import PlanRow
from tests.runfile.example import header

SOAK = (
    Step(action="soak", agent="softener", temperature_c=30.0, time_min=45.0),
    Step(action="rinse"),
)

CATALOGUE = """
[treatments.soft]
steps = [
  { action = "soak", agent = "softener", temperature_c = 30, time_min = 45 },
  { action = "rinse" },
]

[boards.A]
material = "plywood"

[climates.today]

[climates.dry]
temperature_c = 20
relative_humidity_pct = 35

[bags.T1]
treatment = "soft"
mass_g = 440
set = "Heron"

[bags.T2]
treatment = "soft"

[bags.C1]
role = "control"

[bags."C2"]
role = "control"

[bags.Ref]
role = "reference"
"""


def make_study(path: Path, **preferences: object) -> Study:
    """Two treated bags, two controls, a reference bag, one board, two climates."""
    wanted = {"runs_per_series": 2, "reference_runs": 1} | preferences
    study = new_study(path, "Boat shed", Preferences(**wanted))  # type: ignore[arg-type]
    file = study.catalogue_path
    file.write_text(f"{file.read_text()}\n{CATALOGUE}")
    return open_study(path)


def add_run(
    study: Study,
    bag: str,
    started_at: str,
    *,
    face: str = "slick",
    stage: str | None = "baseline",
    series: str = "a series",
    session: str = "a session",
    outcome: Outcome | None = "slid",
    flags: tuple[Flag, ...] = (),
    humidity: float = 48.0,
) -> Path:
    """A run file with a header, a reading of the climate and an end (or none)."""
    number = len(list(study.runs_path.rglob("*.run.jsonl")))
    path = study.runs_path / started_at[:10] / f"{number:04d}.run.jsonl"
    first = header(
        run_id=f"run {number:04d}",
        started_at=started_at,
        bag=bag,
        face=face,
        board="A",
        treatment_stage=stage,
        series=series,
        session=session,
    )
    lines: list[Line] = [
        first,
        Event(t_s=0.0, event="state", detail={"state": "dwelling"}),
        Climate(t_s=0.5, temperature_c=21.0, relative_humidity_pct=humidity, pressure_hpa=1010.0),
    ]
    if outcome is not None:
        lines.append(
            End(outcome=outcome, flags=list(flags), samples_lost=0, bus_retries=0, lines=len(lines))
        )
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"".join(msgspec.json.encode(line) + b"\n" for line in lines))
    return path


def run_row(study: Study, row: PlanRow, day: int) -> None:
    """All runs of a row of the plan, a minute apart, on this day of 2026-05."""
    made = len(list(study.runs_path.rglob("*.run.jsonl")))
    for i in range(row.runs):
        minute = made + i
        add_run(
            study,
            row.bag,
            f"2026-05-{day:02d}T{8 + minute // 60:02d}:{minute % 60:02d}:00Z",
            face=row.face,
            stage=row.stage,
            series=row.row,
            session=row.session,
        )
