"""Quantities and names as options: converted, and said on stderr."""

import pytest

from rig.commands.quantities import moment, quantity, with_tolerance
from tests.commands.conftest import Rig

Capture = pytest.CaptureFixture[str]


def test_what_was_converted_is_said_on_stderr(capsys: Capture) -> None:
    assert quantity("--mass", "15.5oz", "g", 50, 2000) == pytest.approx(439.417609)
    assert with_tolerance("--t", "77F:9F", "°C", -20, 60, 2.0) == (25.0, 5.0)
    assert capsys.readouterr() == (
        "",
        "--mass: 439.4 g (15.5oz as typed).\n"
        "--t: 25 °C (77F as typed).\n"
        "--t ±: 5 °C (9F as typed).\n",
    )


def test_what_was_typed_as_it_is_kept_is_not_said(capsys: Capture) -> None:
    assert quantity("--mass", "441 g", "g", 50, 2000) == 441.0
    assert with_tolerance("--t", "23:2", "°C", -20, 60, 1.0) == (23.0, 2.0)
    moment("--at", None)
    assert moment("--at", "2026-05-30T14:05Z") == "2026-05-30T14:05:00Z"
    assert capsys.readouterr() == ("", "")


def test_a_time_of_today_is_said_with_its_day(capsys: Capture) -> None:
    found = moment("--at", "00:00Z")
    assert capsys.readouterr().err == f"--at: {found} (00:00Z as typed).\n"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["run", "--gap", "0.3in"], "--gap: 7.62 mm (0.3in as typed)."),
        (["run", "--rate", "1,5"], "--rate: 1.5 °/s (1,5 as typed)."),
        (["run", "--dwell", "1min"], "--dwell: 60 s (1min as typed)."),
        (["run", "--steady", "300 s"], "--steady: 5 min (300 s as typed)."),
        (["run", "--climate-timeout", "2h"], "--climate-timeout: 120 min (2h as typed)."),
        (["run", "--until", "0,2"], "--until: 0.2° (0,2 as typed)."),
        (["level", "--bar", "5in"], "--bar: 127 mm (5in as typed)."),
        (["report", "x", "--temperature", "75F", "--humidity", "50"], "--temperature: 23.89 °C ("),
        (["choose", "x", "--angle", "21,5"], "--angle: 21.5° (21,5 as typed)."),
        (["choose", "x", "--temperature", "75F", "--humidity", "50,5%"], "--humidity: 50.5 % ("),
    ],
)
def test_every_command_takes_what_people_type(rig: Rig, words: list[str], says: str) -> None:
    # Each is refused after that, for a reason that has nothing to do with it.
    said = rig(*words, *(["--rates", "x"] if words[0] == "run" else []))
    assert said.code == 2
    assert says in said.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["run", "--gap", "0.03in"], "--gap must lie between 1 and 50 mm"),
        (["run", "--gap", "51"], "--gap must lie between 1 and 50 mm"),
        (["run", "--rate", "0.09"], "--rate must lie between 0.1 and 3 °/s"),
        (["run", "--rate", "3.1"], "--rate must lie between 0.1 and 3 °/s"),
        (["run", "--dwell", "3601"], "--dwell must lie between 0 and 3600 s"),
        (["run", "--steady", "1441"], "--steady must lie between 0 and 1440 min"),
        (["run", "--climate-timeout", "2881"], "--climate-timeout must lie between 0.1 and 2880"),
        (["run", "--until", "10.1"], "--until must lie between 0.01 and 10°"),
        (["run", "--bag", "x\n"], "has a control character"),
        (["run", "--face", "\u202eevil"], "has an invisible character"),
        (["run", "--board", ""], "A board needs a character"),
        (["run", "--session", "\u200b"], "has an invisible character"),
        (["run", "--operator", "a\x1b"], "has a control character"),
    ],
)
def test_what_a_run_does_not_take(rig: Rig, words: list[str], says: str) -> None:
    said = rig(*words)
    assert (said.code, says in said.err) == (2, True)
