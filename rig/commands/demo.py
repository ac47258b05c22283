"""`rig demo`: an invented study on the twin, from the empty folder to the sheet for match day."""

import contextlib
import shlex
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

from rig.commands.options import Seed, say

BAGS = (
    ("Heron 1", "Heron", "soft soak"),
    ("Heron 2", "Heron", "soft soak"),
    ("Dunlin 1", "Dunlin", "warm tumble"),
    ("Dunlin 2", "Dunlin", "warm tumble"),
    ("Knot 1", "Knot", None),
    ("Knot 2", "Knot", None),
)
RECIPES = {
    "soft soak": (
        "soak: agent=softener, dose=20 ml per litre, temperature=30, time=45",
        "rinse: agent=water, temperature=30, time=10, drying=air",
    ),
    "warm tumble": ("tumble: agent=two wool balls, temperature=40, time=20, drying=air",),
}
CLIMATES = (("cold dry", "16:2", "32:6"), ("hot humid", "30:2", "72:6"))
DROOP = {"baseline": (24.0, 26.5, 25.0), "after 1": (31.5, 33.0, 30.5)}
"""Droop angles of Heron 1 that an invented person read."""
TARGETS_DEG = {"slick": 18.0, "grip": 29.0}
TODAY_C, TODAY_PCT = 22.0, 55.0

SETTINGS = """\
# The twin of the demonstration: full steps and fewer samples, so that it is quick to simulate.
name = "the twin in the boat shed"

[imu]
rate_hz = 104

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
        self._seed = seed
        self._twin = ("--twin", "--seed", str(seed), "--rig", str(out / "rig.toml"))
        # The last session ends before today: nothing is noted in the future.
        start = datetime.now(UTC) - timedelta(days=2 * len(CLIMATES) + 1)
        self._now = start.replace(hour=8, minute=0, second=0, microsecond=0)

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
        self._rig(
            "study",
            "new",
            club,
            "--name",
            "Boat shed club",
            "--runs",
            "2",
        )
        self._edit("reference_runs", "1")
        self._edit("rate_deg_s", "2.0")
        self._edit("raise_start", '"whole"')
        self._rig("study", "board", club, "shed board", "--material", "birch plywood")
        for name, temperature, humidity in CLIMATES:
            air = ("--temperature", temperature, "--humidity", humidity)
            self._rig("study", "climate", club, name, *air)
        for recipe, steps in RECIPES.items():
            words = [word for step in steps for word in ("--step", step)]
            self._rig("study", "treat", club, "--recipe", recipe, *words)
        for bag, its_set, treatment in BAGS:
            words = ["--role", "control"] if treatment is None else ["--treatment", treatment]
            named = (bag, "--set", its_set, "--model", its_set)
            self._rig("study", "bag", club, *named, *words)
        self._rig("study", "bag", club, "Plover", "--role", "reference", "--face", "slick")
        for face, angle_deg in TARGETS_DEG.items():
            self._rig("study", "target", club, face, f"{angle_deg:g}")
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
        # A session takes hours; what comes after it comes in the afternoon.
        self._now = self._now.replace(hour=16)

    def _treat(self) -> None:
        say("\nTreat the bags; what was done is noted, with what to watch for.")
        for recipe in RECIPES:
            named = [word for bag, _, its in BAGS if its == recipe for word in ("--bag", bag)]
            if named:
                self._now += timedelta(minutes=40)
                words = (*named, "--recipe", recipe, "--at", _stamp(self._now))
                self._rig("study", "treat", str(self._club), *words)

    def _droop(self, stage: str) -> None:
        angles = [word for angle in DROOP[stage] for word in ("--angle", f"{angle:g}")]
        words = ("--up", "slick", "--overhang", "51", "--at", _stamp(self._now))
        self._rig("study", "droop", str(self._club), "Heron 1", *angles, *words)

    def _answers(self) -> None:
        from rig.commands.asking import asked
        from rig.commands.demo_truth import measured_against_truth, story

        club = str(self._club)
        air = ("--temperature", f"{TODAY_C:g}", "--humidity", f"{TODAY_PCT:g}")
        say(f"\nWhat does it all say, for a day of {TODAY_C:g} °C and {TODAY_PCT:g} %RH?")
        self._rig("answer", club, *air)
        say("\nWhat did treatments, boards and weather do?")
        self._rig("compare", club)
        sheet = str(self._club / "report" / "match-day.html")
        self._rig("sheet", club, *air, "--out", sheet)
        self._rig("report", club)
        say("\nHow right was the rig? The twin knows the true slide angle of each run:")
        for line in measured_against_truth(self._club / "runs"):
            print(line)
        print("\nIn short, with what is true on the twin")
        airs = [float(humidity.partition(":")[0]) for _, _, humidity in CLIMATES]
        found = asked(self._club, temperature=f"{TODAY_C:g}", humidity=f"{TODAY_PCT:g}")
        for line in story(found, self._seed, airs):
            print(f"- {line}")
        print(f"\nThe report and the sheet for match day are in {self._club / 'report'}.")

    def _edit(self, key: str, value: str) -> None:
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
