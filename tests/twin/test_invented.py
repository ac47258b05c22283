"""The demonstration's bags: slick faces are slicker, treatments act as often as they were made."""

from typing import Any

import pytest

from rig.twin.invented import EFFECTS, FACES, face_named, room, scenario_of
from rig.twin.scenario import Scenario


def made(**more: Any) -> Scenario:
    given: dict[str, Any] = {"bag": "Heron 1", "face": "slick", "stage": None, "climate": None}
    names: dict[str, Any] = {"session": "spring", "series": "dry", "slides_before": 3}
    return scenario_of(7, **(given | names | more))


@pytest.mark.parametrize(("face", "low", "high"), [("slick", 0.28, 0.42), ("grip", 0.4, 0.58)])
def test_unknown_bags_have_faces_of_their_kind(face: str, low: float, high: float) -> None:
    faces = [face_named(1, f"Curlew {n}", face) for n in range(300)]
    static = [one.mu_static_dry for one in faces if one is not None]
    falls = [one.mu_static_dry - one.mu_kinetic_dry for one in faces if one is not None]
    gains = [one.humidity_gain for one in faces if one is not None]
    assert (min(static), max(static)) == pytest.approx((low, high), abs=0.005)
    assert (min(falls), max(falls)) == pytest.approx((0.015, 0.08), abs=0.002)
    assert (min(gains), max(gains)) == pytest.approx((0.08, 0.3), abs=0.005)


@pytest.mark.parametrize("stage", ["baseline", "after 1", "after 3"])
def test_each_treatment_multiplies_both_coefficients(stage: str) -> None:
    times = 0 if stage == "baseline" else int(stage[-1])
    factor = EFFECTS["Heron 1", "grip"] ** times
    face, plain = made(face="grip", stage=stage).face, FACES["Heron 1", "grip"]
    assert face.mu_static_dry == pytest.approx(factor * plain.mu_static_dry)
    assert face.mu_kinetic_dry == pytest.approx(factor * plain.mu_kinetic_dry)
    assert face.settle_gain == plain.settle_gain


def test_a_scenario_has_the_names_that_were_asked_for() -> None:
    found = made(climate="barn")
    assert (found.session, found.series, found.slides_before) == ("spring", "dry", 3)
    assert made(face=None).face == FACES["Heron 1", "slick"]


def test_the_room_is_brought_nearly_to_the_air_that_was_planned() -> None:
    airs = [room(seed, "barn", 16.0, 32.0) for seed in range(300)]
    off_k = [one.temperature_c - 16.0 for one in airs if one is not None]
    off_pct = [one.relative_humidity_pct - 32.0 for one in airs if one is not None]
    assert (min(off_k), max(off_k)) == pytest.approx((-0.7, 0.7), abs=0.03)
    assert (min(off_pct), max(off_pct)) == pytest.approx((-1.5, 1.5), abs=0.06)
    found = made(climate="barn", temperature_c=16.0, relative_humidity_pct=32.0)
    assert found.air == room(7, "barn", 16.0, 32.0)
    assert room(7, "shed", 16.0, 32.0) != found.air
    assert room(7, "barn", 16.0, None) is None


def test_invented_faces_are_possible() -> None:
    for face in FACES.values():
        assert 0.2 < face.mu_kinetic_dry < face.mu_static_dry < 0.6
        assert 0.0 < face.humidity_gain < 0.4
    for factor in EFFECTS.values():
        assert 0.9 < factor <= 1.0
