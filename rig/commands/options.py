"""Options that several commands share, and what they have in common."""

import json
import secrets
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from shutil import get_terminal_size
from textwrap import TextWrapper
from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple

import typer

from rig.errors import BadInputError

if TYPE_CHECKING:
    from rig.quantities.shown import System
    from rig.settings.model import Settings

RigFile = Annotated[
    Path | None,
    typer.Option(
        "--rig",
        metavar="FILE",
        help="Settings file. Default: rig.toml here, then in ~/.config/rig, then in /etc/rig.",
    ),
]
Twin = Annotated[bool, typer.Option("--twin", help="Use the built-in simulated rig.")]
Seed = Annotated[
    int | None,
    typer.Option(
        "--seed",
        min=0,
        help="Seed of a simulated rig without a home; another each time if left out.",
    ),
]
Speed = Annotated[
    str,
    typer.Option(
        "--speed",
        metavar="fast|real",
        help="Simulated rig: `fast` jumps through time, `real` takes its time.",
    ),
]
Units = Annotated[
    str,
    typer.Option("--units", metavar="metric|us", help="How to show lengths, °C, hPa and g."),
]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, nothing else.")]


CalibrationFile = Annotated[
    Path | None,
    typer.Option("--calibration", metavar="FILE", help="Use this one, not the runs' own."),
]
COLUMNS, LEAST_COLUMNS = 80, 40


class Simulated(NamedTuple):
    """Which rig is meant."""

    seed: int | None
    """None: that of the home."""
    home: Path | None
    """Folder of the simulated rig, where it has one."""
    rig: Path | None
    """Settings file that was named, or that of the home."""


def simulated(twin: bool, seed: int | None, rig: Path | None, *places: Path | None) -> Simulated:
    """Find the simulated rig that is at home where a person works; draw one where there is none.

    Args:
        twin: a simulated rig is wanted at all.
        seed: as given.
        rig: the settings file, as given.
        *places: folders that the command is about; the working directory comes last.

    Raises:
        BadInputError: a seed was given for a rig that has its own.
    """
    from rig.files.time_here import home_above

    if not twin:
        return Simulated(seed, None, rig)
    home = home_above(*(place for place in places if place is not None), Path())
    if home is None:
        if seed is None:
            seed = drawn_seed()
            say(f"The simulated rig has the seed {seed}; --seed {seed} makes the same one again.")
        return Simulated(seed, None, rig)
    if seed is not None:
        raise BadInputError(f"The simulated rig of {home} has a seed of its own; leave out --seed.")
    own = home / "rig.toml"
    return Simulated(None, home, own if rig is None and own.is_file() else rig)


def drawn_seed() -> int:
    """Any seed."""
    return secrets.randbelow(1_000_000)


def speed_of(text: str) -> Literal["fast", "real"]:
    """Check the value of --speed."""
    if text == "fast":
        return "fast"
    if text == "real":
        return "real"
    raise BadInputError(f"--speed takes `fast` or `real`, not {text!r}.")


def system_of(text: str) -> "System":
    """Check the value of --units."""
    if text == "metric":
        return "metric"
    if text == "us":
        return "us"
    raise BadInputError(f"--units takes `metric` or `us`, not {text!r}.")


def settings_of(file: Path | None) -> "Settings":
    """The settings in force."""
    from rig.settings.load import find_settings, load_settings

    return load_settings(find_settings(file))


def columns() -> int:
    """Of the terminal; 80 where output goes elsewhere."""
    return max(LEAST_COLUMNS, get_terminal_size((COLUMNS, 24)).columns)


def say(text: str) -> None:
    """A message for a person, on stderr; whoever reads it from a pipe gets it in one line."""
    print(on_screen(text), file=sys.stderr, flush=True)


def on_screen(text: str) -> str:
    """As it is to be read on stderr: in lines on a terminal, as it is in a pipe."""
    return folded(text) if sys.stderr.isatty() else text


def tell(text: str, mark: str = "") -> None:
    """A sentence on stdout, in lines that are easily read; `mark` stands before the first."""
    print(folded(text, mark), flush=True)


def folded(text: str, mark: str = "") -> str:
    """Text in lines of 80 columns, or as many as there are; its own line breaks stay."""
    width = min(COLUMNS, columns())
    lines = TextWrapper(
        width,
        initial_indent=mark,
        subsequent_indent=" " * len(mark),
        break_long_words=False,  # a path stays one that can be pasted
        break_on_hyphens=False,
    )
    return "\n".join(lines.fill(line) for line in text.split("\n"))


def print_table(rows: Sequence[Sequence[str]]) -> None:
    """A table on stdout, titles first, as wide as the terminal at most."""
    from rig.analysis.columns import format_table

    print(format_table(rows, columns()))


def write_out(path: Path, data: bytes) -> None:
    """Write a file that was asked for, whole or not at all; its folder is made.

    Raises:
        BadInputError: it can't be written.
    """
    from rig.files.durable import make_folder, replace_file

    try:
        make_folder(path.parent)
        replace_file(path, data)
    except OSError as error:
        why = error.strerror or error
        raise BadInputError(
            f"{path} can't be written ({why}); name another place with --out."
        ) from None


def print_json(document: Mapping[str, Any]) -> None:
    """The one JSON document of a command, on stdout."""
    print(json.dumps(document, ensure_ascii=False, allow_nan=False))
