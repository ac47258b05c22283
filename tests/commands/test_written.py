"""What commands write without a rig: tables, figures, a unit."""

from pathlib import Path
from types import SimpleNamespace as Made
from typing import Any

import pytest

from rig.commands import report as reporting
from tests.analysis.parts import analysis
from tests.commands.conftest import Rig


def test_an_analysis_prints_rows_groups_problems_and_budgets(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = analysis(0.4)
    bare = one._replace(budget=None)
    calls: list[Any] = []

    def document(*, with_budget: bool) -> dict[str, Any]:
        return {"with_budget": with_budget}

    found: Any = Made(
        runs=[one, bare],
        problems=["one file is odd"],
        groups=[],
        checks=[Made(sentence=lambda: "The material is as it was.")],
        made=[],
        n_unchecked=0,
        comparisons=lambda: [Made(sentence=lambda: "A slides earlier.")],
        differences=list,
        document=document,
    )

    def analyse(paths: object, given: object) -> Any:
        calls.append((paths, given))
        return found

    monkeypatch.setattr("rig.analysis.load.analyse", analyse)
    said = rig("analyse", "a", "b", "--table", "t.csv")
    assert said.err.startswith("one file is odd\n--table and --json have all columns")
    assert calls == [([Path("a"), Path("b")], None)]
    assert "\n\n" in said.out
    assert said.out.endswith("\nThe material is as it was.\n\nA slides earlier.\n")
    assert len(Path("t.csv").read_text().splitlines()) == 3
    with_budget = rig("analyse", "a", "--budget").out
    assert with_budget.startswith(said.out)
    assert with_budget.count("ramp fit") == 1
    assert rig("analyse", "a", "--json").document == {"with_budget": False}
    assert rig("analyse", "a", "--json", "--budget").document == {"with_budget": True}


def test_figures_are_written_in_the_forms_asked_for(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rig.report.style import new_figure

    drawn: list[Any] = [("one", new_figure(1.0)), ("none", None), ("two", new_figure(1.0))]
    monkeypatch.setattr(reporting, "_drawn", lambda *_: iter(drawn))
    assert rig("figures", "x", "--out", "both").err == "2 figures are in both.\n"
    for form in ("svg", "png"):
        assert rig("figures", "x", "--out", form, "--format", form).code == 0
        assert {path.name for path in Path(form).iterdir()} == {f"one.{form}", f"two.{form}"}
    assert len(list(Path("both").iterdir())) == 4
    text = Path("svg/one.svg").read_text("utf-8")
    assert text.startswith('<?xml version="1.0" encoding="UTF-8"?>\n<svg')
    assert text.endswith("</svg>\n")
    del drawn[1:]
    assert rig("figures", "x", "--out", "a/b").err == "The figure is in a/b.\n"
    assert rig("figures", "x", "--format", "gif").code == 2


def test_a_unit_for_a_service_by_its_options(rig: Rig) -> None:
    text = rig("service", "--user", "wren", "--repeat", "7", "--out", "made").out
    assert "User=wren" in text
    here = Path.cwd()
    assert f"run --service --repeat 7 --out {here}/made\n" in text
    assert f"WorkingDirectory={here}\n" in text
    Path("my.toml").write_text("")
    plain = rig("service", "--rig", "my.toml").out
    assert f"--rig {here}/my.toml --repeat 10 --out {here}/runs\n" in plain
    assert f"safe --rig {here}/my.toml\n" in plain
    assert text.endswith("WantedBy=multi-user.target\n")
