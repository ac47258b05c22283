from pathlib import Path
from typing import Any

import pytest

from rig.errors import BadInputError
from rig.study.folder.catalogue import Step, stage_number
from rig.study.folder.journal import Treatment
from rig.study.folder.journal_file import append
from rig.study.folder.study import Study, open_study
from rig.study.plan.keep import current_plan
from rig.study.plan.rows import read_plan
from rig.study.slides.table import slide_table
from rig.study.treatments import cautions, check_treatment, next_stage
from tests.study.folder_example import SOAK, add_run, make_study, run_row


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = make_study(tmp_path / "s", stages_after_baseline=2)
    add_run(made, "T1", "2026-05-02T08:00:00Z")
    add_run(made, "T1", "2026-05-02T08:01:00Z")
    return made


def treated(at: str, bag: str = "T1", stage: str = "after 1", **more: Any) -> Treatment:
    return Treatment(at=at, bag=bag, stage=stage, steps=SOAK, **more)


def check(study: Study, entry: Treatment, without_baseline: bool = False) -> None:
    check_treatment(study, entry, slide_table(study).slides, without_baseline)


def refusal(study: Study, entry: Treatment) -> str:
    with pytest.raises(BadInputError) as caught:
        check(study, entry)
    return str(caught.value)


def test_after_the_baseline_it_is_taken(study: Study) -> None:
    check(study, treated("2026-05-03T08:00:00Z"))


def test_dated_before_the_baseline_it_is_refused(study: Study) -> None:
    said = refusal(study, treated("2026-05-01T08:00:00Z"))
    assert "lies before its run of stage 'baseline' at 2026-05-02T08:01:00Z" in said
    said = refusal(study, treated("2026-05-02T08:00:30Z"))
    assert "lies before its run of stage 'baseline' at 2026-05-02T08:01:00Z" in said


def test_dated_after_runs_that_it_should_precede_it_is_refused(study: Study) -> None:
    add_run(study, "T1", "2026-05-04T08:00:00Z", stage="after 1")
    said = refusal(study, treated("2026-05-05T08:00:00Z"))
    assert "should precede its runs in stage 'after 1', but there is one at 2026-05-04" in said
    check(study, treated("2026-05-03T08:00:00Z"))


def test_an_open_baseline_of_the_plan_is_given_up_by_force_only(study: Study) -> None:
    current_plan(study)
    entry = treated("2026-05-03T08:00:00Z")
    said = refusal(study, entry)
    assert "The plan still wants T1 before this treatment (" in said
    assert "slick in dry" in said
    check_treatment(study, entry, slide_table(study).slides, force=True)
    for row in read_plan(study):
        if row.bag == "T1" and row.stage == "baseline":
            run_row(study, row, 2)
    check(study, entry)
    done = append(study.journal_path, entry)
    correction = treated("2026-05-03T09:00:00Z", replaces=done.line)
    check(open_study(study.path), correction)


def test_without_any_baseline_it_is_refused_unless_wanted(study: Study) -> None:
    entry = treated("2026-05-03T08:00:00Z", bag="T2")
    assert "T2 has no baseline slide before 2026-05-03" in refusal(study, entry)
    check(study, entry, without_baseline=True)
    add_run(study, "T2", "2026-05-02T08:00:00Z", outcome="no_slide")
    assert "T2 has no baseline slide" in refusal(study, entry)


def test_runs_that_name_no_stage_take_it_from_the_journal(study: Study) -> None:
    add_run(study, "T2", "2026-05-02T08:00:00Z", stage=None)
    add_run(study, "T2", "2026-05-04T08:00:00Z", stage=None)
    entry = treated("2026-05-03T08:00:00Z", bag="T2")
    check(study, entry)
    append(study.journal_path, entry)
    records = slide_table(open_study(study.path)).slides
    assert [r.stage for r in records if r.bag == "T2"] == ["baseline", "after 1"]


def test_controls_stay_untreated(study: Study) -> None:
    assert "C1 is a control bag and must stay untreated" in refusal(
        study, treated("2026-05-03T08:00:00Z", bag="C1")
    )
    with pytest.raises(BadInputError, match="knows no bag 'T9'"):
        check(study, treated("2026-05-03T08:00:00Z", bag="T9"))


def test_stages_come_one_after_the_other(study: Study) -> None:
    assert "T1 was not treated for stage 'after 1' yet" in refusal(
        study, treated("2026-05-03T08:00:00Z", stage="after 2")
    )
    assert "not 'baseline'" in refusal(study, treated("2026-05-03T08:00:00Z", stage="baseline"))
    line = append(study.journal_path, treated("2026-05-03T08:00:00Z")).line
    study = open_study(study.path)
    assert next_stage(study, "T1") == "after 2"
    assert f"for stage 'after 1' already (line {line}" in refusal(
        study, treated("2026-05-04T08:00:00Z")
    )
    assert "out of order with that for stage 'after 1'" in refusal(
        study, treated("2026-05-03T07:00:00Z", stage="after 2")
    )
    check(study, treated("2026-05-04T08:00:00Z", stage="after 2"))
    check(study, treated("2026-05-02T09:00:00Z", replaces=line))


def test_controls_share_the_stage_that_treated_bags_reach(study: Study) -> None:
    append(study.journal_path, treated("2026-05-03T08:00:00Z"))
    study = open_study(study.path)
    assert study.stage_at("C1", "2026-05-03T07:59:59Z") == "baseline"
    assert study.stage_at("C1", "2026-05-03T08:00:00Z") == "after 1"
    assert study.stage_at("T2") == "baseline"


@pytest.mark.parametrize(
    ("steps", "thin", "words"),
    [
        ((Step(action="boil"),), False, ["Never boil"]),
        ((Step(action="wash", temperature_c=60.0),), False, ["Never boil", "no suds"]),
        (
            (Step(action="soak", agent="fabric softener"),),
            False,
            ["no rinse", "cannot be undone", "Damp"],
        ),
        (SOAK, False, ["until no suds", "cannot be undone", "Damp"]),
        ((Step(action="brush"),), True, ["small steps"]),
        ((Step(action="brush"),), False, []),
    ],
)
def test_cautions_come_where_they_matter(
    steps: tuple[Step, ...], thin: bool, words: list[str]
) -> None:
    said = cautions(steps, thin)
    assert all(any(word in one for one in said) for word in words)
    assert all("(common practice, no source)" in one for one in said)
    assert bool(said) == bool(words)
    boils = any("boil" in one for one in said)
    assert boils == ("Never boil" in words)


def test_a_rinse_at_the_end_is_seen() -> None:
    assert not any("no rinse" in one for one in cautions(SOAK))
    assert any("no rinse" in one for one in cautions(SOAK[::-1]))


def test_what_is_no_stage_has_no_number() -> None:
    names = ("baseline", "after 1", "after 12", "after 0", "after 01", "after", "after x", "1", "²")
    assert [stage_number(name) for name in names] == [0, 1, 12, *[None] * 6]
