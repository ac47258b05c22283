"""Arguments and output that the `rig study` commands share."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.options import print_json, tell
from rig.commands.quantities import moment, name_option, quantity
from rig.files.time_here import now_in
from rig.study.folder.ranges import AIR_C, HUMIDITY_PCT, READ_DEG

if TYPE_CHECKING:
    from rig.study.folder.journal import Entry
    from rig.study.folder.study import Study

MOST_LINES = 8
"""More lines of the journal than this are said in one."""
Folder = Annotated[Path, typer.Argument(metavar="STUDY", help="The study's folder.")]
When = Annotated[
    str | None,
    typer.Option(
        "--at", metavar="TIME", help="When it was done, as 2026-05-30T14:05, or 14:05 for today."
    ),
]
Operator = Annotated[str | None, name_option("--operator", "operator", "Who did it.")]
Note = Annotated[str, typer.Option("--note", help="Anything worth keeping.")]
Replaces = Annotated[
    int | None,
    typer.Option("--replaces", metavar="LINE", help="Corrects this line of the journal."),
]
Stage = Annotated[
    str | None,
    typer.Option("--stage", help="`baseline`, `after 1`, …; as the journal says if left out."),
]
Temperature = Annotated[
    str | None, typer.Option("--temperature", metavar="T", help="Of the air, in °C.")
]
Humidity = Annotated[
    str | None, typer.Option("--humidity", metavar="H", help="Relative humidity, in %.")
]
Measured = Annotated[
    bool,
    typer.Option("--measured", help="The climate was read from an instrument, not guessed."),
]
Angles = Annotated[
    list[str] | None, typer.Option("--angle", metavar="DEG", help="In °; one for each, in order.")
]
Session = Annotated[
    str | None,
    name_option(
        "--session", "session", "The sitting; that of the day's runs, or the day, if left out."
    ),
]


def air(temperature: str | None, humidity: str | None) -> tuple[float | None, float | None]:
    """Temperature in °C and relative humidity in % as typed."""
    return (
        None if temperature is None else quantity("--temperature", temperature, *AIR_C),
        None if humidity is None else quantity("--humidity", humidity, *HUMIDITY_PCT),
    )


def angles_of(texts: list[str]) -> tuple[float, ...]:
    """The angles of --angle in degrees."""
    return tuple(quantity("--angle", text, *READ_DEG) for text in texts)


def session_of(study: "Study", session: str | None, at: str) -> str:
    """The session that was named; else the only one with runs that day; else the day."""
    from rig.study.slides.sitting import sitting

    return sitting(study, at) if session is None else session


def when(text: str | None, folder: Path) -> str:
    """The time of --at for the journal, by the clock that counts in the study's folder."""
    return moment("--at", text, now_in(folder))


def figure(value: float | None, digits: int) -> str:
    """A number for a table, or a dash."""
    return "–" if value is None else f"{value:.{digits}f}"


def report(entries: "Sequence[Entry]", json: bool, **more: object) -> None:
    """Say which lines were written to the journal; `more` goes into the JSON document."""
    import msgspec

    if json:
        print_json({"lines": [msgspec.to_builtins(entry) for entry in entries], **more})
        return
    if len(entries) > MOST_LINES:
        kinds = ", ".join(dict.fromkeys(str(msgspec.to_builtins(one)["kind"]) for one in entries))
        first, last = entries[0].line, entries[-1].line
        tell(f"Journal lines {first} to {last}: {len(entries)} entries ({kinds}).")
        return
    for entry in entries:
        text = msgspec.to_builtins(entry)
        about = text.get("runs") or [text.get("bag") or text.get("board")]
        named = entry.replaces if "confirms" not in text else text["confirms"]
        what = ", ".join(filter(None, about)) or f"line {named}"
        tell(f"Journal line {entry.line}: {text['kind']} of {what}.")
