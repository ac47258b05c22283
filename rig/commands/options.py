"""Options that several commands share, and what they have in common."""

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

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
Seed = Annotated[int, typer.Option("--seed", min=0, help="Seed of the simulated rig.")]
Speed = Annotated[
    str,
    typer.Option(
        "--speed", help="Simulated rig: `fast` jumps through time, `real` takes its time."
    ),
]
Units = Annotated[
    str,
    typer.Option("--units", metavar="metric|us", help="How to show lengths, °C, hPa and g."),
]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, nothing else.")]


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


def say(text: str) -> None:
    """A message for a person, on stderr."""
    print(text, file=sys.stderr, flush=True)


def print_json(document: Mapping[str, Any]) -> None:
    """The one JSON document of a command, on stdout."""
    print(json.dumps(document, ensure_ascii=False, allow_nan=False))
