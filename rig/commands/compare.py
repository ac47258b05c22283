"""`rig compare`: what treatments, boards and weather did, and how sure that is."""

from pathlib import Path
from typing import Annotated

import typer

from rig.commands.asking import StudyFolder, asked, part
from rig.commands.options import Json, print_json, tell


def compare(
    study: StudyFolder,
    calibration: Annotated[
        Path | None,
        typer.Option("--calibration", metavar="FILE", help="Use this one, not the runs' own."),
    ] = None,
    json: Json = False,
) -> None:
    """Show what each treatment did, and what boards, readers and the weather do, with ranges."""
    from rig.analysis.table import format_table
    from rig.study.answer.tables import boards, scatter, treatments, weather

    found = asked(study, calibration=calibration)
    answer = found.answer
    if json:
        keys = ("as_of", "quality", "treatments", "weather", "boards", "scatter", "unknown")
        print_json(part(answer, *keys) | {"sentences": [*answer.sentences]})
        return
    for title, rows in (
        ("Treatments: change of the slide angle by a first application, °", treatments(answer)),
        (
            "Weather: change of the slide angle per 10 %RH at the board's surface, °",
            weather(answer),
        ),
        ("Boards and readers against the usual one, °", boards(answer)),
        ("Scatter, standard deviation, °", scatter(answer)),
    ):
        if len(rows) > 1:
            print(f"{title}\n\n{format_table(rows)}\n")
    print("Ranges hold 95 %. Shown: the sign is at least 97.5 % sure.")
    for sentence in answer.unknown:
        tell(sentence, "- ")
