"""`rig compare`: what treatments, boards and weather did, and how sure that is."""

from rig.commands.asking import StudyFolder, asked, part
from rig.commands.options import CalibrationFile, Json, print_json, print_table, tell


def compare(
    study: StudyFolder,
    calibration: CalibrationFile = None,
    json: Json = False,
) -> None:
    """Show what each treatment did, and what boards, readers and the weather do, with ranges."""
    from rig.study.answer import words
    from rig.study.answer.tables import boards, scatter, treatments, weather

    found = asked(study, calibration=calibration)
    answer = found.answer
    if json:
        keys = ("as_of", "quality", "treatments", "weather", "boards", "scatter", "unknown")
        print_json(part(answer, *keys) | {"sentences": [*answer.sentences]})
        return
    several = words.several_models(answer.weather)
    found_out = [one for one in answer.treatments if one.shown]
    for effect in found_out:
        tell(words.effect_sentence(effect, several_models=several))
    if answer.treatments and not found_out:
        tell("No effect of a treatment is shown yet; these are the ranges.")
    if answer.treatments:
        print()
    for title, rows in (
        ("Treatments: change of the slide angle by a first application, °", treatments(answer)),
        (
            "Weather: change of the slide angle per 10 %RH at the board's surface, °",
            weather(answer),
        ),
        ("Boards, rigs, readers and operators against the usual one, °", boards(answer)),
        ("Scatter, standard deviation, °", scatter(answer)),
    ):
        if len(rows) > 1:
            tell(title)
            print()
            print_table(rows)
            print()
    print("Ranges hold 95 %. Shown: the sign is at least 97.5 % sure.")
    for sentence in answer.unknown:
        tell(sentence, "- ")
