"""Rigs on paper, for the limits of what a person starts."""

from typing import Any

import pytest

from tests.procedures.paper_rig import OnPaper, PaperPerson, PaperRig


@pytest.fixture
def on_paper(monkeypatch: pytest.MonkeyPatch) -> OnPaper:
    """Makes a rig on paper that the calibration's modules take for the real one."""

    def put_down(**made_of: Any) -> tuple[PaperRig, PaperPerson]:
        rig = PaperRig(**made_of)
        for module in ("level.level", "level.check", "selftest.moves"):
            name = f"rig.procedures.{module}"
            monkeypatch.setattr(f"{name}.Mover", lambda _: rig)
            monkeypatch.setattr(f"{name}.home", rig.home)
        for module in ("level.level", "level.check"):
            monkeypatch.setattr(f"rig.procedures.{module}.start_watching", rig.start_watching)
        return rig, PaperPerson(rig)

    return put_down
