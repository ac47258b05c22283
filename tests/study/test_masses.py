import pytest

from rig.study.folder.journal import Journal, Mass
from rig.study.masses import balance


@pytest.mark.parametrize(
    ("before", "says"),
    [
        ([], "Weigh T1 again in 30 min"),
        ([("2026-05-01T11:20:00Z", 440.5)], "T1: −0.5 g in 40 min: in balance."),
        ([("2026-05-01T11:20:00Z", 440.6)], "T1: −0.6 g in 40 min: not in balance yet."),
        ([("2026-05-01T11:50:00Z", 440.1)], "−0.1 g in 10 min, which is too short to tell"),
        (
            [("2026-05-01T09:00:00Z", 443.0), ("2026-05-01T11:50:00Z", 440.1)],
            "T1: −3.0 g in 3.0 h: not in balance yet.",
        ),
        ([("2026-04-28T12:00:00Z", 438.0)], "T1: +2.0 g in 3 days; residue, damp or lost fill"),
        ([("2026-05-01T13:00:00Z", 438.0)], "Weigh T1 again in 30 min"),
    ],
)
def test_balance_is_judged_over_half_an_hour(before: list[tuple[str, float]], says: str) -> None:
    lines = [Mass(line=i + 2, at=at, bag="T1", mass_g=g) for i, (at, g) in enumerate(before)]
    other = Mass(line=50, at="2026-05-01T11:00:00Z", bag="T2", mass_g=500.0)
    now = Mass(line=99, at="2026-05-01T12:00:00Z", bag="T1", mass_g=440.0)
    assert says in balance(Journal(lines=[*lines, other, now]), now)
