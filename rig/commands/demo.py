"""`rig demo`: an invented study on the twin, from the empty folder to the sheet for match day."""

import contextlib
import json as jsonlib
import shlex
import time
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

from rig.commands.options import Seed, say

BAGS = (
    ("Heron 1", "Heron", "soft soak"),
    ("Heron 2", "Heron", "soft soak"),
    ("Knot 1", "Knot", None),
    ("Knot 2", "Knot", None),
)
CLIMATES = (("cold dry", "16:2", "32:6"), ("hot humid", "30:2", "72:6"))
DROOP = {"baseline": (24.0, 26.5, 25.0), "after 1": (31.5, 33.0, 30.5)}
"""Droop angles of Heron 1 that an invented person read."""

SETTINGS = """\
# The twin of the demonstration: full steps, so that it is quick to simulate.
name = "the twin in the boat shed"

[screw]
microsteps = 1

[files]
calibration = "calibration/twin.json"
"""


def demo(
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="New folder for what the demo makes.")
    ],
    seed: Seed = 2026,
) -> None:
    """Make a whole invented study on the twin by the commands that a person types."""
    from rig.errors import BadInputError

    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise BadInputError(f"{out} exists and is not empty; name a new folder with --out.")
    say(
        "Everything here is invented: the bags, the treatments, the climates, the rig. The program"
        " is the one that runs on a real rig; only pins, I2C bytes and the clock are simulated."
    )
    out.mkdir(parents=True, exist_ok=True)
    Story(out, seed).tell()


class Story:
    """The demonstration: calls commands and prints them.

    Args:
        out: the new folder.
        seed: of the twin.
    """

    def __init__(self, out: Path, seed: int) -> None:
        self._out = out
        self._club = out / "club"
        self._twin = ("--twin", "--seed", str(seed), "--rig", str(out / "rig.toml"))
        self._now = datetime.now(UTC).replace(hour=8, minute=0, second=0, microsecond=0)

    def tell(self) -> None:
        """All of it, in order."""
        self._calibrate()
        self._catalogue()
        self._sessions("baseline")
        self._droop("baseline")
        self._treat()
        self._sessions("after 1")
        self._droop("after 1")
        self._answers()

    def _calibrate(self) -> None:
        say("\nCalibrate the angle sensor against a level (the twin's level has an error too):")
        (self._out / "rig.toml").write_text(SETTINGS.split("[files]")[0], encoding="utf-8")
        made = self._out / "calibration"
        self._rig("level", *self._twin, "--out", str(made), log="level.log")
        (newest,) = made.glob("*.json")
        newest.rename(made / "twin.json")
        (self._out / "rig.toml").write_text(SETTINGS, encoding="utf-8")

    def _catalogue(self) -> None:
        say("\nWhat there is, and what is to be found out:")
        club = str(self._club)
        self._rig("study", "new", club, "--name", "Boat shed club", "--runs", "2", "--wish", "21")
        self._edit("reference_runs", 1)
        self._rig("study", "board", club, "shed board", "--material", "birch plywood")
        for name, temperature, humidity in CLIMATES:
            air = ("--temperature", temperature, "--humidity", humidity)
            self._rig("study", "climate", club, name, *air)
        soak = "soak: agent=softener, dose=20 ml per litre, temperature=30, time=45, drying=air"
        self._rig("study", "treat", club, "--recipe", "soft soak", "--step", soak)
        for bag, its_set, treatment in BAGS:
            words = ("--role", "control") if treatment is None else ("--treatment", treatment)
            self._rig("study", "bag", club, bag, "--set", its_set, *words)
        self._rig("study", "bag", club, "Plover", "--role", "reference", "--face", "slick")
        self._rig("study", "plan", club, log="plan.log")

    def _sessions(self, stage: str) -> None:
        say(f"\nRuns on the rig, {stage}: a session in each climate.")
        for name, _, _ in CLIMATES:
            self._now = (self._now + timedelta(days=1)).replace(hour=8, minute=0)
            at = ("--at", _stamp(self._now))
            log = f"{stage} {name}.log"
            self._rig(
                "run", "--plan", str(self._club), "--climate", name, *self._twin, *at, log=log
            )

    def _treat(self) -> None:
        say("\nTreat the bags; what was done is noted, with what to watch for.")
        for bag, _, treatment in BAGS:
            if treatment is not None:
                self._now += timedelta(minutes=20)
                words = ("--bag", bag, "--recipe", treatment, "--at", _stamp(self._now))
                self._rig("study", "treat", str(self._club), *words)

    def _droop(self, stage: str) -> None:
        angles = [word for angle in DROOP[stage] for word in ("--angle", f"{angle:g}")]
        words = ("--up", "slick", "--overhang", "51", "--at", _stamp(self._now))
        self._rig("study", "droop", str(self._club), "Heron 1", *angles, *words)

    def _answers(self) -> None:
        club = str(self._club)
        say("\nWhat did the treatments do?")
        self._rig("compare", club)
        say("\nWhich bags for today: 22 °C, 55 %RH, and a slide angle of 21°?")
        air = ("--temperature", "22", "--humidity", "55")
        self._rig("choose", club, *air, "--angle", "21")
        sheet = str(self._club / "report" / "match-day.html")
        self._rig("sheet", club, *air, "--angle", "21", "--out", sheet)
        self._rig("report", club)
        say("\nHow right was it? The twin knows:")
        for line in truth_table(self._club / "runs"):
            print(line)
        print(f"\nThe report and the sheet for match day are in {self._club / 'report'}.")

    def _edit(self, key: str, value: int) -> None:
        """Change a preference in study.toml, as a person would in an editor."""
        path = self._club / "study.toml"
        lines = path.read_text("utf-8").splitlines(keepends=True)
        edited = [f"{key} = {value}\n" if line.startswith(f"{key} =") else line for line in lines]
        path.write_text("".join(edited), encoding="utf-8")
        print(f"\n(In {path}: {key} = {value}, to keep the demonstration short.)")

    def _rig(self, *words: str, log: str | None = None) -> None:
        """Print a command and run it; with `log` its output goes to that file."""
        from rig.commands.main import app

        print(f"\n$ rig {shlex.join(words)}", flush=True)
        began = time.monotonic()
        with contextlib.ExitStack() as stack:
            if log is not None:
                path = self._out / "log" / log.replace(" ", "-")
                path.parent.mkdir(exist_ok=True)
                file = stack.enter_context(path.open("w", encoding="utf-8"))
                stack.enter_context(contextlib.redirect_stdout(file))
            try:
                app(list(words), standalone_mode=False)
            except SystemExit as end:
                if end.code:
                    raise
        if log is not None:
            print(f"  {time.monotonic() - began:.0f} s; what it said is in log/{path.name}")


def _stamp(at: datetime) -> str:
    return f"{at:%Y-%m-%dT%H:%MZ}"


def truth_table(runs: Path) -> Sequence[str]:
    """Lines of a table: for each bag face the mean error against the twin's truth."""
    from rig.analysis.load import analyse

    errors: dict[tuple[str, str], list[tuple[float, float, float]]] = {}
    for run in analyse([runs]).runs:
        row = run.result
        path = Path(row.run_file)
        side = path.with_name(path.name.removesuffix(".run.jsonl") + ".truth.json")
        truth = jsonlib.loads(side.read_text("utf-8"))["onset_angle_deg"]
        if row.valid and row.onset_angle_deg is not None and row.angle_at_break_deg is not None:
            errors.setdefault((row.bag or "", row.face or ""), []).append(
                (truth, row.onset_angle_deg - truth, row.angle_at_break_deg - truth)
            )
    head = f"{'bag':<9} {'face':<6} {'runs':>4} {'true angle':>11} {'error':>8} {'at break':>9}"
    lines = [head, "-" * len(head)]
    for (bag, face), found in sorted(errors.items()):
        true, error, late = (sum(column) / len(found) for column in zip(*found, strict=True))
        lines.append(
            f"{bag:<9} {face:<6} {len(found):>4} {true:>10.2f}° {error:>+7.3f}° {late:>+8.3f}°"
        )
    lines += [
        "",
        "`error` is the mean of measured less true slide angle; the part that all rows share is",
        "the calibration's and cancels between bags. `at break` is the error of the angle at which",
        "the beam broke, which one would read off without the analysis: it differs between bags.",
    ]
    return lines
