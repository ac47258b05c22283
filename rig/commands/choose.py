"""`rig choose`: which bag faces and sets suit the day."""

from rig.commands.asking import (
    Angle,
    Approach,
    Board,
    BoardTemperature,
    From,
    Humidity,
    Like,
    Mu,
    Reader,
    Readings,
    StudyFolder,
    Temperature,
    Tolerance,
    asked,
    part,
)
from rig.commands.options import (
    Json,
    RigFile,
    Seed,
    Twin,
    Units,
    print_json,
    print_table,
    system_of,
    tell,
)


def choose(
    study: StudyFolder,
    temperature: Temperature = None,
    humidity: Humidity = None,
    board_temperature: BoardTemperature = None,
    approach: Approach = None,
    came_from: From = None,
    board: Board = None,
    angle: Angle = None,
    mu: Mu = None,
    like: Like = None,
    tolerance: Tolerance = None,
    reading: Readings = None,
    reader: Reader = None,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    units: Units = "metric",
    json: Json = False,
) -> None:
    """Rank bag faces and sets for a target, in the air that was typed or that the rig reads now."""
    from rig.study.answer import words
    from rig.study.answer.tables import picks, sets

    system = system_of(units)
    found = asked(
        study,
        temperature=temperature,
        humidity=humidity,
        board_temperature=board_temperature,
        live=(rig, twin, seed),
        approach=approach or came_from,
        board=board,
        angle=angle,
        mu=mu,
        like=like,
        tolerance=tolerance,
        readings=reading,
        reader=reader,
        units=system,
    )
    answer = found.answer
    if json:
        keys = ("as_of", "air", "targets", "quality", "picks", "bags", "best_four", "sets")
        print_json(part(answer, *keys) | {"sentences": [*answer.sentences]})
        return
    print(f"{found.study.catalogue.name} · {words.air_words(answer.air, system)}")
    tell(words.pick_sentence(answer))
    tell(words.shift_sentence(answer))
    for rows in (picks(answer), sets(answer)):
        if len(rows) > 1:
            print()
            print_table(rows)
    if answer.best_four is not None:
        print()
        tell(words.four_sentence(answer.best_four))
