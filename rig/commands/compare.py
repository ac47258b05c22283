"""`rig compare`: what the treatments did, and how sure that is."""

from pathlib import Path
from typing import Annotated

import typer

from rig.commands.options import Json, Units, print_json, say, system_of


def compare(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="The study's folder.")],
    before: Annotated[
        str | None, typer.Option("--before", metavar="STAGE", help="Default: the first stage.")
    ] = None,
    after: Annotated[
        str | None, typer.Option("--after", metavar="STAGE", help="Default: the last stage.")
    ] = None,
    calibration: Annotated[
        Path | None,
        typer.Option("--calibration", metavar="FILE", help="Use this one, not the runs' own."),
    ] = None,
    units: Units = "metric",
    json: Json = False,
) -> None:
    """Compare treatments, faces, boards, sets and climates, with intervals."""
    from rig.calibration.file import load_calibration
    from rig.quantities.said import worded
    from rig.study.compare import compare as compare_rows
    from rig.study.compare_tables import tables
    from rig.study.compare_text import sentences
    from rig.study.gather import gather
    from rig.study.stopping import paths, paths_text

    system = system_of(units)
    found = gather(study, None if calibration is None else load_calibration(calibration))
    result = compare_rows(found.rows, found.bags, before, after, found.notes)
    walked = paths(found.study, found.rows, result.model)
    if json:
        print_json(result.document(sentences(result)) | {"paths": [p.document() for p in walked]})
        return
    print(tables(result))
    if any(len(path.steps) > 1 for path in walked):
        print("\n" + paths_text(walked))
    print("\nWhat this says")
    for sentence in sentences(result):
        print(f"- {worded(sentence, system)}")
    for note in result.notes:
        say(worded(note, system))
