"""`rig sizing`: a table that stands in columns, margins with their bounds, a warning where due."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.motion.sizing import size
from rig.settings.model import Settings


def test_the_built_in_settings_keep_every_margin(
    rig: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    said = rig("sizing")
    assert said.code == 0
    assert said.out.rstrip().endswith("All margins are kept.")
    head, _, *rows = said.out.split("\n\n")[0].splitlines()
    assert re.split("  +", head)[:5] == ["angle °", "screw mm", "lever mm", "push N", "torque N·m"]
    for row, station in zip(rows, size(Settings()).stations, strict=True):
        assert [round(float(x), 5) for x in row.split()][:4] == [
            round(x) for x in (station.angle_deg, station.screw_mm, station.lever_mm)
        ] + [round(station.force_n)]


def test_too_smooth_a_thread_is_warned_of(rig: Callable[..., Any], tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text("[mechanics]\nleast_thread_friction = 0.1\n")
    said = rig("sizing")
    assert said.code == 0
    assert "LOW   self-locking" in said.out
    assert "WARNING: not as it should be: self-locking." in said.out
    assert "All margins are kept" not in said.out
    assert rig("sizing", "--json").document["warnings"] == ["self-locking"]
