from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import BadInputError
from rig.study.folder.catalogue import Bag, Board, ClimateWanted, Preferences
from rig.study.folder.catalogue_file import add_table
from rig.study.folder.study import new_study, open_study
from rig.study.plan.make import make_plan, williams_row
from rig.study.plan.rows import PlanRow, plan_warnings
from tests.study.folder_example import make_study


def sessions_of(rows: list[PlanRow]) -> list[list[PlanRow]]:
    names = dict.fromkeys(row.session for row in rows if row.session)
    return [[row for row in rows if row.session == name] for name in names]


def test_stages_and_climates_are_blocks(tmp_path: Path) -> None:
    rows = make_plan(make_study(tmp_path, sessions_per_climate=2, stages_after_baseline=2))
    blocks = [(row.stage, row.climate) for row in rows if row.is_series]
    runs = [block for i, block in enumerate(blocks) if i == 0 or block != blocks[i - 1]]
    assert len(runs) == len(set(runs)) == 3 * 2
    assert [stage for stage, _ in runs] == ["baseline"] * 2 + ["after 1"] * 2 + ["after 2"] * 2
    assert runs[0][1] == "today"
    assert len(sessions_of(rows)) == 12
    assert all(len({(r.stage, r.climate) for r in one}) == 1 for one in sessions_of(rows))


def test_a_treatment_stands_between_the_stages(tmp_path: Path) -> None:
    rows = make_plan(make_study(tmp_path, stages_after_baseline=2))
    order = [("treat", r.bag) if r.action == "treat" else r.stage for r in rows]
    short = [one for i, one in enumerate(order) if i == 0 or one != order[i - 1]]
    treats = [("treat", "T1"), ("treat", "T2")]
    assert short == ["baseline", *treats, "after 1", *treats, "after 2"]
    assert all(r.treatment == "soft" for r in rows if r.action == "treat")


def test_all_bags_get_equal_slides_at_every_stage_controls_too(tmp_path: Path) -> None:
    study = make_study(tmp_path, series_per_session=2, sessions_per_climate=3)
    wear: Counter[tuple[str, str, str]] = Counter()
    for row in make_plan(study):
        if row.action == "run":
            wear[row.stage, row.bag, row.face] += row.runs
    assert len(wear) == 2 * 4 * 2
    assert set(wear.values()) == {2 * 2 * 3 * 2}


def test_untreated_bags_go_before_treated_ones_and_each_of_those_is_wiped_after(
    tmp_path: Path,
) -> None:
    study = make_study(tmp_path, series_per_session=2)
    for session in sessions_of(make_plan(study)):
        actions = [row.action for row in session]
        assert actions[:2] == ["wipe", "reference"]
        assert actions[-1] == "reference"
        treated = [
            i
            for i, row in enumerate(session)
            if row.action == "run" and study.leaves_residue(row.bag, row.stage)
        ]
        fresh = [i for i, row in enumerate(session) if row.action == "run" and i not in treated]
        if session[0].stage == "baseline":
            assert not treated
            continue
        assert max(fresh) < min(treated)
        for i in treated:
            assert actions[i + 1 : i + 3] == ["wipe", "reference"]
            assert "residue" in session[i + 2].note


def test_the_seed_decides_the_order(tmp_path: Path) -> None:
    one = make_plan(make_study(tmp_path / "a", seed=3))
    same = make_plan(make_study(tmp_path / "b", seed=3))
    other = make_plan(make_study(tmp_path / "c", seed=4))
    assert one == same
    assert one != other
    assert Counter(r.bag for r in one) == Counter(r.bag for r in other)


def test_boards_and_climates_but_todays_air_come_in_a_drawn_order(tmp_path: Path) -> None:
    boards, climates = set(), set()
    for seed in range(5):
        study = make_study(tmp_path / str(seed), seed=seed)
        add_table(study.catalogue_path, "boards", "B", Board(material="glass"))
        add_table(study.catalogue_path, "climates", "hot", ClimateWanted(temperature_c=31.0))
        rows = make_plan(open_study(study.path))
        boards.add(next(row.board for row in rows if row.board))
        climates.add(tuple(dict.fromkeys(row.climate for row in rows if row.climate)))
    assert boards == {"A", "B"}
    assert climates == {("today", "dry", "hot"), ("today", "hot", "dry")}


@given(st.integers(1, 12))
def test_each_unit_takes_each_place_and_follows_each_other_equally_often(n: int) -> None:
    rows = [williams_row(n, k) for k in range(n if n % 2 == 0 else 2 * n)]
    assert all(sorted(row) == list(range(n)) for row in rows)
    places = Counter((unit, place) for row in rows for place, unit in enumerate(row))
    assert len(places) == n * n
    assert len(set(places.values())) == 1
    follows = Counter(pair for row in rows for pair in pairwise(row))
    assert len(follows) == n * (n - 1)
    assert len(set(follows.values())) <= 1


def test_over_the_sessions_the_bags_change_places(tmp_path: Path) -> None:
    study = make_study(tmp_path, stages_after_baseline=0, sessions_per_climate=4)
    firsts = Counter(
        next((r.bag, r.face) for r in session if r.action == "run")
        for session in sessions_of(make_plan(study))
    )
    assert len(firsts) == 8  # 8 bag faces, 8 sessions: each goes first once


def test_too_few_controls_are_refused(tmp_path: Path) -> None:
    study = make_study(tmp_path, min_controls=2)
    text = study.catalogue_path.read_text().replace('[bags."C2"]\nrole = "control"', '[bags."C2"]')
    text = text.replace('[bags."C2"]', '[bags."C2"]\ntreatment = "soft"')
    study.catalogue_path.write_text(text)
    with pytest.raises(BadInputError, match="There is 1 untreated control bag and 2 are wanted"):
        make_plan(open_study(tmp_path))


def test_a_treated_bag_must_name_its_treatment(tmp_path: Path) -> None:
    study = make_study(tmp_path)
    add_table(study.catalogue_path, "bags", "T3", Bag())
    with pytest.raises(BadInputError, match="T3 is to be treated but names no treatment"):
        make_plan(open_study(tmp_path))


def test_a_plan_needs_bags_boards_and_a_reference(tmp_path: Path) -> None:
    from rig.study.folder.catalogue import Board

    study = new_study(tmp_path, "s", Preferences(stages_after_baseline=0))
    file = study.catalogue_path
    for says, section, name, entry in (
        ("no boards to plan with", "boards", "A", Board()),
        ("no bags to measure", "bags", "B", Bag()),
        ("no reference bag", "bags", "Ref", Bag(role="reference")),
    ):
        with pytest.raises(BadInputError, match=says):
            make_plan(open_study(tmp_path))
        add_table(file, section, name, entry)
    rows = make_plan(open_study(tmp_path))
    assert [row.action for row in rows] == ["wipe", "reference", "run", "run", "reference"]
    assert {row.climate for row in rows} == {"today"}, "any air, where none is wanted"
    text = file.read_text().replace("reference_runs = 3", "reference_runs = 0")
    file.write_text(text)
    rows = make_plan(open_study(tmp_path))
    assert [row.action for row in rows] == ["wipe", "run", "run"]


def test_the_material_is_checked_once_for_each_kind_of_fabric_in_a_stage(tmp_path: Path) -> None:
    """Untreated bags, and at later stages those of each recipe, right after a series as it lies."""
    study = make_study(
        tmp_path,
        check_runs=3,
        sessions_per_climate=2,
        series_per_session=2,
        stages_after_baseline=2,
    )
    rows = make_plan(study)
    checks = [row for row in rows if row.action == "check"]
    treated = [study.leaves_residue(row.bag, row.stage) for row in checks]
    assert [(row.stage, is_treated) for row, is_treated in zip(checks, treated, strict=True)] == [
        ("baseline", False),
        ("after 1", False),
        ("after 1", True),
        ("after 2", False),
        ("after 2", True),
    ]
    for row in checks:
        before = rows[rows.index(row) - 1]
        assert (before.action, before.bag, before.face, before.board, before.session) == (
            "run", row.bag, row.face, row.board, row.session,
        )  # fmt: skip
        assert row.runs == 3
    assert not plan_warnings(rows, study)
    assert not [row for row in make_plan(make_study(tmp_path / "b")) if row.action == "check"]


def test_added_blocks_are_not_checked_again(tmp_path: Path) -> None:
    study = make_study(tmp_path, check_runs=3)
    rows = make_plan(study)
    first = [row for row in rows if row.climate == rows[0].climate or not row.climate]
    more = make_plan(study, 2, first)
    assert [row for row in more if row.action == "run"]
    assert not [row for row in more if row.action == "check"]
