"""A small study, measured once for all tests of figures and the page."""

from pathlib import Path

import pytest

from rig.report.evidence import Evidence, collect
from rig.report.pictures import study_pictures
from rig.report.style import Picture
from rig.study.answer.ask import ask
from rig.study.folder.study import open_study
from tests.report.fonts import open_fonts
from tests.report.study_example import build

NASTY = "<script>x</script> & $y$ --> 'q'"


@pytest.fixture(scope="session", autouse=True)
def _fonts() -> None:
    open_fonts()


@pytest.fixture(scope="session")
def study_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Bags with ordinary names, and one whose name is HTML."""
    folder = tmp_path_factory.mktemp("report") / "shed"
    return build(folder, small=True, name="Boat shed <b>", odd_bag=NASTY)


@pytest.fixture(scope="session")
def evidence(study_folder: Path) -> Evidence:
    return collect(ask(open_study(study_folder)))


@pytest.fixture(scope="session")
def pictures(evidence: Evidence) -> list[Picture]:
    return study_pictures(evidence)
