"""`rig demo`: an invented study on the twin, from the empty folder to the sheet for match day."""

import contextlib
import os
import shlex
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import typer

from rig.commands.options import say

BAGS = (
    ("Heron 1", "Heron", "soft soak"),
    ("Heron 2", "Heron", "soft soak"),
    ("Heron 3", "Heron", "soft soak"),
    ("Knot 1", "Knot", None),
    ("Knot 2", "Knot", None),
)
RECIPES = {
    "soft soak": (
        "soak: agent=softener, dose=20 ml per litre, temperature=30, time=45",
        "rinse: agent=water, temperature=30, time=10, drying=air",
    ),
}
CLIMATES = (("cold dry", "16:2", "32:6"), ("hot humid", "30:2", "72:6"))
DROOP = {"before": (24.0, 26.5, 25.0), "after": (31.5, 33.0, 30.5)}
"""Droop angles of Heron 1 that an invented person read."""
RUNS = 2
TARGETS_DEG = {"slick": 18.0, "grip": 29.0}
TODAY = ("--temperature", "22", "--humidity", "55")
LAW = "lugre"
"""The bags' law of friction, one outside the family of laws that the analysis weighs: an elastic
contact, which gives way before it slides."""
BEGIN = "2026-05-04T08:00Z"
"""What time it is on the twin at first, so that one seed gives one story whenever it is told."""
ABOUT_S, ABOUT_MB = 60, 10
"""Time of one core that it took, and what it left."""


class StoryStep(NamedTuple):
    """A command of the story."""

    words: Sequence[str]
    log: str | None = None
    """File that takes what it prints."""
    weight: float = 0.02
    """Its share of the time, roughly; in the same unit for all."""
    heading: str = ""
    """Said before it."""

    @property
    def typed(self) -> str:
        """As a person types it."""
        return shlex.join(self.words) + ("" if self.log is None else f" > {self.log}")


def demo(
    context: typer.Context,
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="New folder for what the demo makes.")
    ],
    seed: Annotated[int, typer.Option("--seed", min=0, help="Of all that is invented.")] = 2026,
) -> None:
    """Make a whole invented study on the twin by the commands that a person types."""
    from rig.errors import BadInputError

    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise BadInputError(f"{out} exists and is not empty; name a new folder with --out.")
    say(
        "Everything here is invented: the bags, the treatments, the climates, the rig. The program"
        " is the one that runs on a real rig; only pins, I2C bytes and the clock are simulated."
        f" It takes about {ABOUT_S} s on two free cores and {ABOUT_MB} MB in {out}."
    )
    here = Path.cwd()
    try:
        tell(list(steps(str(out), seed)), context.find_root().command)
    finally:
        os.chdir(here)
    print(f"\nThe report and the sheet for match day are in {out / 'club' / 'report'}.")


def steps(out: str, seed: int) -> Iterator[StoryStep]:
    """The story, command by command.

    Args:
        out: the new folder.
        seed: of the twin.
    """

    def rig(*words: str, **more: object) -> StoryStep:
        return StoryStep(("rig", *words), **more)  # type: ignore[arg-type]

    yield rig(
        *("twin", "new", out, "--seed", str(seed), "--at", BEGIN, "--law", LAW),
        heading="A simulated rig with a clock, a memory and a law of friction of its own:",
    )
    yield StoryStep(("cd", out))
    yield rig(
        *("level", "--twin", "--answers", "shown"),
        log="level.log",
        weight=0.9,
        heading="Calibrate the angle sensor against a level (the twin's level has an error too):",
    )
    new = ("study", "new", "club", "--name", "Boat shed club")
    yield rig(
        *(*new, "--runs", str(RUNS), "--rate", "2", "--start", "whole"),
        *("--reference-runs", "0", "--check-runs", "0"),
        heading="What there is, and what is to be found out:",
    )
    yield rig("study", "board", "club", "shed board", "--material", "birch plywood")
    for name, temperature, humidity in CLIMATES:
        air = ("--temperature", temperature, "--humidity", humidity)
        yield rig("study", "climate", "club", name, *air)
    for recipe, made_of in RECIPES.items():
        words = [word for step in made_of for word in ("--step", step)]
        yield rig("study", "treat", "club", "--recipe", recipe, *words)
    for bag, its_set, treatment in BAGS:
        role = ("--role", "control") if treatment is None else ("--treatment", treatment)
        yield rig("study", "bag", "club", bag, "--set", its_set, "--model", its_set, *role)
    for face, angle_deg in TARGETS_DEG.items():
        yield rig("study", "target", "club", face, f"{angle_deg:g}")
    yield rig("study", "plan", "club", log="plan.log")
    yield from _measured("before")
    for recipe in RECIPES:
        named = [word for bag, _, its in BAGS if its == recipe for word in ("--bag", bag)]
        if named:
            yield rig(
                *("study", "treat", "club", *named, "--recipe", recipe),
                heading="Treat the bags; what was done is noted, with what to watch for:",
            )
    yield rig("study", "play", "club", "--set", BAGS[0][1], "--throws", "60")
    yield from _measured("after")
    today = f"{TODAY[1]} °C and {TODAY[3]} %RH"
    yield rig(
        *("answer", "club", *TODAY),
        weight=1.0,
        heading=f"What does it all say, for a day of {today}?",
    )
    yield rig(
        *("compare", "club"), weight=0.2, heading="What did treatments, boards and weather do?"
    )
    yield rig("sheet", "club", *TODAY, "--out", "club/report/match-day.html", weight=0.2)
    yield rig("report", "club", weight=1.0)
    yield rig(
        *("twin", "truth", "club", *TODAY),
        weight=0.2,
        heading="How right was the rig? The twin knows the true slide angle of each run:",
    )


def _measured(when: str) -> Iterator[StoryStep]:
    """A session in each climate on days of their own, then a droop reading."""
    heading = f"Runs on the rig {when} the treatment, a session in each climate:"
    for name, _, _ in CLIMATES:
        yield StoryStep(("rig", "twin", "wait", "20h"), heading=heading)
        heading = ""
        words = ("rig", "run", "--plan", "club", "--climate", name, "--twin")
        yield StoryStep(words, log=f"{when}-{name.replace(' ', '-')}.log", weight=1.6)
    angles = [word for angle in DROOP[when] for word in ("--angle", f"{angle:g}")]
    yield StoryStep(
        ("rig", "study", "droop", "club", "Heron 1", *angles, "--up", "slick", "--overhang", "51")
    )
    yield StoryStep(("rig", "twin", "wait", "2h"))


def tell(story: Sequence[StoryStep], program: Any) -> None:
    """Print and run each command.

    Args:
        story: in order.
        program: `rig` itself, as the command line has built it.
    """
    began = time.monotonic()
    weights = [step.weight for step in story]
    for place, step in enumerate(story):
        if step.heading:
            print(f"\n{step.heading}")
        print(f"\n$ {step.typed}", flush=True)
        done, left = sum(weights[:place]), sum(weights[place:])
        if step.log is not None:
            # Long ones are quiet: that is when a person asks how long it will be.
            spent = time.monotonic() - began
            left_s = left * (spent / done if done > 0.5 else ABOUT_S / sum(weights))
            say(f"(command {place + 1} of {len(story)}, about {max(1.0, left_s):.0f} s left)")
        run_step(step, program)


def run_step(step: StoryStep, program: Any) -> None:
    """Run one command of the story in this process."""
    name, *words = step.words
    if name == "cd":
        os.chdir(words[0])
        return
    with contextlib.ExitStack() as stack:
        if step.log is not None:
            file = stack.enter_context(Path(step.log).open("w", encoding="utf-8"))
            stack.enter_context(contextlib.redirect_stdout(file))
        try:
            program.main(words, standalone_mode=False)
        except SystemExit as end:
            if end.code:
                raise
