import unicodedata
from pathlib import Path

import pytest

from rig.errors import BadInputError
from rig.study.folder.catalogue import Bag, Catalogue, Recipe, Step
from rig.study.folder.catalogue_file import add_table, parse_catalogue, read_catalogue
from rig.study.folder.study import new_study, open_study

TOP = 'format = "tilt-study"\nversion = 1\nname = "x"\nmade_at = "2026-05-01T08:00:00Z"\n'
PATH = Path("study.toml")


def refusal(text: str) -> str:
    with pytest.raises(BadInputError) as caught:
        parse_catalogue(text, PATH)
    return str(caught.value)


def test_a_new_study_has_its_preferences_with_comments(tmp_path: Path) -> None:
    study = new_study(tmp_path / "s", 'The "old" shed')
    assert study.catalogue.name == 'The "old" shed'
    text = study.catalogue_path.read_text()
    assert "# raises without a change by hand\nruns_per_series = 5\n" in text
    assert "# wish_angle_deg =\n" in text
    assert all((study.path / name).is_dir() for name in ("calibration", "runs", "report"))


def test_a_study_is_never_made_over_another(tmp_path: Path) -> None:
    study = new_study(tmp_path, "one")
    before = study.catalogue_path.read_bytes()
    with pytest.raises(BadInputError, match="is a study already"):
        new_study(tmp_path, "two")
    assert study.catalogue_path.read_bytes() == before


def test_what_is_added_is_read_and_comments_stay(tmp_path: Path) -> None:
    path = new_study(tmp_path, "s").catalogue_path
    path.write_text(path.read_text() + "\n# my own words, grüße\n")
    steps = (
        Step(action="soak", agent='softener "mild"\\', dose="20 ml", temperature_c=0.0),
        Step(action="rinse", time_min=2.5),
    )
    recipe = Recipe(steps=steps, note="two lines\nof note")
    add_table(path, "treatments", "soft soak", recipe)
    bag = Bag(
        set="Heron",
        faces={"slick": "twill", 'odd "face"': ""},
        mass_g=440.25,
        treatment="soft soak",
        history="rained on\tonce",
    )
    made = add_table(path, "bags", "Ärmel 1", bag)
    assert made == read_catalogue(path)
    assert made.bags == {"Ärmel 1": bag}
    assert made.treatments == {"soft soak": recipe}
    assert "# my own words, grüße" in path.read_text()
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == ["study.toml"]


def test_a_name_that_is_taken_is_refused_and_nothing_changes(tmp_path: Path) -> None:
    path = new_study(tmp_path, "s").catalogue_path
    add_table(path, "bags", "B", Bag(role="control"))
    before = path.read_bytes()
    with pytest.raises(BadInputError, match=r"There is bag 'B' already; edit \[bags"):
        add_table(path, "bags", "B", Bag())
    with pytest.raises(BadInputError, match=r"^The bag .* has .* \(U\+0007\) in it"):
        add_table(path, "bags", "a\a", Bag())
    with pytest.raises(BadInputError, match="names the treatment 'boil'"):
        add_table(path, "bags", "C", Bag(treatment="boil"))
    assert path.read_bytes() == before


def test_a_study_from_the_future_is_refused(tmp_path: Path) -> None:
    text = TOP.replace("version = 1", "version = 2") + 'brand_new = "key"\n'
    assert refusal(text) == (
        "study.toml is a study folder from the future: it is written in version 2 and this program"
        " reads up to version 1; update the program."
    )
    (tmp_path / "study.toml").write_text(text)
    with pytest.raises(BadInputError, match="from the future"):
        open_study(tmp_path)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", 'not a study: its `format` must be "tilt-study"'),
        ("format = [", "is not valid TOML"),
        (TOP.replace("version = 1", "version = true"), "`version` must be a whole number"),
        (TOP + "bags = 3\n", "`bags` must hold one table for each name"),
        (TOP + "colour = 3\n", "there is no key `colour`; there are format"),
        (
            TOP + "[bags.B]\nmass_kg = 0.44\n",
            '[bags."B"] there is no key `mass_kg`; did you mean `mass_g`?',
        ),
        (
            TOP + '[bags.B]\nmass_g = "15 oz"\n',
            "`mass_g` must be a plain number in g, not a text; convert the value to that unit",
        ),
        (
            TOP + '[climates.hot]\ntemperature_c = "22F"\n',
            '[climates."hot"] `temperature_c` must be a plain number in °C, not a text',
        ),
        (
            TOP + '[treatments.t]\nsteps = [{ action = "soak", temperature_f = 90 }]\n',
            "there is no key `temperature_f`; did you mean `temperature_c`?",
        ),
        (
            TOP + '[treatments.t]\nsteps = [{ action = "soak", temperature_c = "90F" }]\n',
            "`steps[0].temperature_c` must be a plain number in °C, not a text",
        ),
        (TOP + '[bags.""]\n', "a name under [bags] must have 1 to 60 characters"),
        (TOP + '[bags."B".faces]\n"" = "twill"\n', "a name under [faces] must have 1 to 60"),
        (TOP + "[treatments.t]\nsteps = []\n", "`steps`: expected `array` of length >= 1"),
        (TOP + "[bags.B]\nmass_g = 3.0\n", "`mass_g`: expected `float` >= 50.0"),
        (TOP + "[bags.B]\nfaces = {}\n", '[bags."B"] needs a face at least'),
        (TOP + '[bags.B]\nrole = "spare"\n', "`role`: invalid enum value 'spare'"),
        (
            TOP + '[bags.B]\nrole = "reference"\n[bags.C]\nrole = "reference"\n',
            "one bag can be the reference, not B and C; choose one",
        ),
        (
            TOP + '[bags.B]\nrole = "control"\ntreatment = "t"\n',
            '[bags."B"] is a control and must not have a `treatment`',
        ),
        (TOP + "[preferences]\nruns_per_series = 0\n", "[preferences] `runs_per_series`"),
    ],
)
def test_a_mistake_is_one_sentence_with_its_place(text: str, says: str) -> None:
    said = refusal(text)
    assert says in said
    assert said.startswith("study.toml")
    assert "\n" not in said


def test_no_study_and_no_text(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="There is no study folder"):
        open_study(tmp_path / "nothing")
    with pytest.raises(BadInputError, match=r"it has no study.toml; make one"):
        open_study(tmp_path)
    (tmp_path / "study.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(BadInputError, match="not UTF-8"):
        open_study(tmp_path)


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInputError, match="cannot be written"):
        new_study(tmp_path / "file" / "study", "s")


def test_stages_follow_the_preference() -> None:
    one: Catalogue = parse_catalogue(TOP + "[preferences]\nstages_after_baseline = 2\n", PATH)
    assert one.stages == ["baseline", "after 1", "after 2"]


@pytest.mark.parametrize(
    "table",
    [
        '[bags."x\\n"]',
        '[boards."\\u200B"]',
        '[climates."a\\u202Eb"]',
        '[treatments."\\u001B[31m"]\nsteps = [{ action = "rinse" }]',
        '[bags.x]\nset = "a\\n"',
        '[bags.x]\nmodel = "\\u200B"',
        '[bags.x]\nfaces = { "a\\u0007" = "" }',
    ],
)
def test_a_name_that_cannot_be_seen_is_refused(table: str) -> None:
    said = refusal(f"{TOP}\n{table}\n")
    assert said.startswith("study.toml: ")
    assert "in it; type it again" in said or "needs a character that can be seen" in said


def test_names_are_compared_in_their_composed_form() -> None:
    text = unicodedata.normalize("NFD", f'{TOP}\n[bags."Möwe"]\nset = "Möwe"\n')
    (name,) = parse_catalogue(text, PATH).bags
    assert name == "Möwe"
