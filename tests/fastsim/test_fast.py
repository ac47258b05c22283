from pathlib import Path

import msgspec
import pytest

from rig.runfile.model import Climate, End, Event, Header, Samples, State, Steps
from rig.runfile.reader import read_run
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Truth
from tests.fastsim.run import encode_lines, simulate_run, write_run
from tests.teeth import without
from tests.twin.full_run import full_runs

SETTINGS = Settings()


def events(lines: list) -> list[tuple[str, object]]:
    return [
        (line.event, line.detail.get("state") or line.detail.get("beam"))
        for line in lines
        if isinstance(line, Event)
    ]


def test_a_run_has_the_lines_of_a_real_one() -> None:
    lines, truth = simulate_run(SETTINGS, draw_scenario(1), 1, bag="Heron 1", repeat=4)
    header, end = lines[0], lines[-1]
    assert isinstance(header, Header)
    assert (header.bag, header.repeat, header.source) == ("Heron 1", 4, "twin")
    assert isinstance(end, End)
    assert (end.outcome, end.flags, end.lines) == ("slid", [], len(lines) - 1)
    states = [detail for event, detail in events(lines) if event == "state"]
    run: list[State] = ["homing", "placing", "dwelling", "raising", "sliding", "lowering", "parked"]
    assert states == run
    names = [event for event, _ in events(lines)]
    for name in ("home_reading", "placed", "raise_started", "beam_broken", "raise_ended"):
        assert names.count(name) == 1
    for kind, least in ((Samples, 100), (Climate, 20), (Steps, 500)):
        assert sum(isinstance(line, kind) for line in lines) > least
    assert truth.onset_angle_deg is not None
    assert len(encode_lines(lines)) < 300_000


def test_samples_are_dense_in_the_raise_and_sparse_elsewhere() -> None:
    lines, _ = simulate_run(SETTINGS, draw_scenario(2), 2)
    at = {
        line.detail["state"]: line.t_s
        for line in lines
        if isinstance(line, Event) and line.event == "state"
    }
    rates = {True: 0, False: 0}
    for line in lines:
        if isinstance(line, Samples):
            inside = at["raising"] <= line.t_s + 1e-6 < at["lowering"]
            rates[inside] += len(line.counts)
            assert line.dt_s == pytest.approx(1 / 208 if inside else 0.1, rel=0.05)
    raised_s = at["lowering"] - at["raising"]
    assert rates[True] / raised_s == pytest.approx(208, rel=0.05)
    assert rates[False] / (at["parked"] - raised_s) == pytest.approx(10, rel=0.05)


def test_step_counts_tell_the_true_angle_where_the_linkage_is_as_stated() -> None:
    scenario = changed(
        draw_scenario(3),
        board={
            "floor_along_deg": 0.0,
            "floor_across_deg": 0.0,
            "hinge_cross_deg": 0.0,
            "base_pivot_error_mm": 0.0,
            "cradle_pivot_error_mm": 0.0,
        },
    )
    lines, truth = simulate_run(SETTINGS, scenario, 3)
    linkage = Kinematics(SETTINGS.linkage, SETTINGS.screw)
    steps = [line for line in lines if isinstance(line, Steps)]
    assert truth.onset_time_s is not None
    before = [s for s in steps if s.t_s <= truth.onset_time_s][-1]
    angle = linkage.angle_deg(float(before.count)) + (truth.onset_time_s - before.t_s) * 1.0
    assert angle == pytest.approx(truth.onset_angle_deg, abs=0.003)


def test_same_seed_same_bytes_and_another_seed_others() -> None:
    def made(seed: int) -> bytes:
        return encode_lines(simulate_run(SETTINGS, draw_scenario(seed), seed)[0])

    assert made(7) == made(7)
    assert made(7) != made(8)


def test_a_run_does_not_depend_on_those_before_it() -> None:
    scenario = draw_scenario(9)
    third = simulate_run(SETTINGS, scenario, 9, number=3)[1]
    for number in (1, 2):
        simulate_run(SETTINGS, scenario, 9, number=number)
    assert simulate_run(SETTINGS, scenario, 9, number=3)[1] == third


def test_written_files_are_read_back(tmp_path: Path) -> None:
    lines, truth = simulate_run(SETTINGS, draw_scenario(4), 4)
    path = write_run(tmp_path, lines, truth)
    run = read_run(path)
    assert run.header == lines[0]
    side = path.with_name(path.name.replace(".run.jsonl", ".truth.json"))
    assert msgspec.json.decode(side.read_bytes(), type=Truth) == truth


def test_plain_coefficients_are_the_truth() -> None:
    scenario = changed(without(draw_scenario(5, face=plain_face(0.5, 0.42))), bag={"gap_mm": 9.0})
    _, truth = simulate_run(SETTINGS, scenario, 5)
    assert (truth.mu_static, truth.mu_kinetic) == (0.5, 0.42)
    # atan 0.5 = 26.565°, with whatever the floor and the hinge add inside it.
    assert truth.onset_angle_deg == pytest.approx(26.5651, abs=1e-3)
    assert truth.gap_mm == pytest.approx(9.0 - truth.slump_mm)
    assert truth.length_mm - truth.slump_mm >= 152.0 * 0.997


def test_two_beams_give_four_edges() -> None:
    lines, truth = simulate_run(SETTINGS, draw_scenario(6), 6, beams=2)
    edges = [(e, b) for e, b in events(lines) if e.startswith("beam")]
    assert edges == [
        ("beam_broken", 1),
        ("beam_broken", 2),
        ("beam_clear", 1),
        ("beam_clear", 2),
    ]
    assert truth.onset_angle_deg is not None


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 12])
def test_the_full_twin_agrees(tmp_path: Path, seed: int) -> None:
    scenario = draw_scenario(seed)
    made, twin = full_runs(tmp_path, SETTINGS, scenario, seed)
    calibration = calibration_for(scenario, SETTINGS, seed)
    lines, fast = simulate_run(SETTINGS, scenario, seed, calibration=calibration)
    (full,) = twin.truths
    # Air and moisture have drifted for some seconds more.
    assert full.mu_kinetic == pytest.approx(fast.mu_kinetic, abs=1e-6)
    # The contact is as old to within 0.1 s.
    assert full.mu_static == pytest.approx(fast.mu_static, abs=1e-4)
    assert full.onset_angle_deg == pytest.approx(fast.onset_angle_deg, abs=0.004)
    assert full.gap_mm == pytest.approx(fast.gap_mm, abs=0.002)
    assert full.length_mm == fast.length_mm
    assert full.surface_humidity_pct == pytest.approx(fast.surface_humidity_pct, abs=0.1)

    real = read_run(made[0].path)
    assert [e for e in events(real.events) if e[0] != "limit_lower"] == [
        e for e in events(lines) if e[0] != "limit_lower"
    ]
    assert real.header.settings == lines[0].settings  # type: ignore[union-attr]
    assert real.header.calibration == calibration

    def sliding_times(found: list) -> list[float]:
        """Edges after the onset: how long it took to the break and to the clearing."""
        return [e.t_s for e in found if isinstance(e, Event) and e.event.startswith("beam")]

    opened_s = real.events[0].t_s
    assert opened_s == pytest.approx(0.0, abs=0.01)
    full_break, full_clear = sliding_times(real.events)
    fast_break, fast_clear = sliding_times(lines)
    assert full_clear - full_break == pytest.approx(fast_clear - fast_break, abs=1e-3)
    assert fast.onset_time_s is not None
    assert full.onset_time_s is not None
    begun = {
        id(found): next(e.t_s for e in found if isinstance(e, Event) and e.event == "raise_started")
        for found in (real.events, lines)
    }
    full_since, fast_since = (
        t - begun[id(found)] for t, found in ((full_break, real.events), (fast_break, lines))
    )
    assert full_since == pytest.approx(fast_since, abs=0.01)
