"""An invented study in a folder, and small run files for it."""

from functools import cache
from pathlib import Path
from zlib import crc32

import msgspec

from rig.runfile.model import Climate, End, Flag, Header, Outcome
from rig.settings.model import Settings
from rig.study.folder.catalogue import Preferences, Step
from rig.study.folder.study import Study, new_study, open_study
from rig.study.plan.rows import PlanRow
from rig.twin.draws import draw_scenario
from tests.fastsim.run import simulate_run

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
    operator: str | None = None,
    run_id: str | None = None,
) -> Path:
    """The file of a simulated slide under other names, with an end or none."""
    number = len(list(study.runs_path.rglob("*.run.jsonl")))
    path = study.runs_path / started_at[:10] / f"{number:04d}.run.jsonl"
    first, body, n_lines = slide_lines(humidity)
    first = msgspec.structs.replace(
        first,
        run_id=run_id or f"run {number:04d}",
        started_at=started_at,
        bag=bag,
        face=face,
        board="A",
        treatment_stage=stage,
        series=series,
        session=session,
        operator=operator,
    )
    data = msgspec.json.encode(first) + b"\n" + body
    if outcome is not None:
        told: list[Flag] = ["no_slide", *flags] if outcome == "no_slide" else list(flags)
        end = End(
            outcome=outcome,
            flags=told,
            samples_lost=0,
            bus_retries=0,
            lines=n_lines,
            check=f"{crc32(data):08x}",
        )
        data += msgspec.json.encode(end) + b"\n"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    return path


@cache
def slide_lines(humidity: float) -> tuple[Header, bytes, int]:
    """A simulated slide in this air: its header, the lines up to its last, and their number."""
    lines, _ = simulate_run(Settings(), draw_scenario(1), 1, rate_deg_s=2.0, dwell_s=1.0)
    header, *rest = lines
    assert isinstance(header, Header)
    body = [
        msgspec.structs.replace(line, temperature_c=21.0, relative_humidity_pct=humidity)
        if isinstance(line, Climate)
        else line
        for line in rest
        if not isinstance(line, End)
    ]
    return header, b"".join(msgspec.json.encode(line) + b"\n" for line in body), 1 + len(body)


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
