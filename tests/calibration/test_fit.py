import msgspec
import numpy as np
import pytest

from rig.calibration.apply import gravity_g, inclination_deg, u_inclination_deg
from rig.calibration.captures import Rest, Span
from rig.calibration.file import validate_calibration
from rig.calibration.fit import Fit, fit_calibration, reading_covariance
from rig.calibration.model import Calibration
from rig.calibration.reference import Reading
from rig.calibration.sensors import CLASSES
from rig.errors import BadInputError
from tests.calibration.example import calibration
from tests.calibration.invented_rig import SCALE, InventedRig

SENSOR = CLASSES["lsm6dsox"]
MOUNTINGS = {
    "as drawn": (0.0, 0.0, 0.0),
    "turned by 90": (0.0, 0.0, 90.0),
    "upside down": (180.0, 0.0, 0.0),
    "on its side": (0.0, 90.0, 0.0),
    "cross-mounted by 5": (3.0, 3.0, -2.6),
    "anyhow": (40.0, 70.0, -100.0),
}


def used(fit: Fit) -> Calibration:
    return calibration(
        bias_g=fit.bias_g,
        gain=fit.gain,
        level=fit.level,
        axis=fit.axis,
        covariance=tuple(tuple(row) for row in fit.covariance.tolist()),
        temperature_c=fit.temperature_c,
    )


def errors_deg(rig: InventedRig, fit: Fit, turns: tuple[float, ...]) -> np.ndarray:
    """What the calibrated sensor says less the true total inclination."""
    found = used(fit)
    said = inclination_deg(found, gravity_g(found, [rig.counts(turn) for turn in turns]))
    return said - np.array([rig.slopes_deg(turn)[2] for turn in turns])


@pytest.mark.parametrize("mounting", MOUNTINGS)
@pytest.mark.parametrize("fault", [{}, {"across_deg": 1.0}, {"level_error_deg": 0.1}])
def test_any_mounting_is_recovered_within_its_uncertainty(
    mounting: str, fault: dict[str, float]
) -> None:
    rig = InventedRig(mounting_deg=MOUNTINGS[mounting], **fault)
    fit = fit_calibration(rig.zero(), rig.span(), SENSOR, SCALE)
    validate_calibration(used(fit))
    turns = (2.0, 10.0, 20.0, 30.0, 40.0)
    error = errors_deg(rig, fit, turns)
    found = used(fit)
    u = [np.hypot(*u_inclination_deg(found, gravity_g(found, rig.counts(t)))) for t in turns]
    # Uncalibrated this sensor is off by more than a degree; readings are good to 0.03°.
    assert np.all(np.abs(error) < 0.08)
    assert np.all(np.abs(error) < 3.0 * np.array(u))
    assert fit.notes == ()


def test_stated_uncertainty_is_what_the_errors_scatter_by() -> None:
    turns = (1.0, 10.0, 25.0, 35.0, 44.0)
    error, u = [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        rig = InventedRig(
            mounting_deg=tuple(rng.normal(0.0, 60.0, 3)),
            bias_g=tuple(rng.normal(0.0, 0.02, 3)),
            gain=tuple(1.0 + rng.normal(0.0, 0.005, 3)),
            rng=rng,
        )
        fit = fit_calibration(rig.zero(), rig.span(), SENSOR, SCALE)
        error.append(errors_deg(rig, fit, turns))
        found = used(fit)
        u.append(
            [np.hypot(*u_inclination_deg(found, gravity_g(found, rig.counts(t)))) for t in turns]
        )
    ratio = np.sqrt(np.mean(np.square(error), axis=0) / np.mean(np.square(u), axis=0))
    # 60 draws give a ratio's standard error of 9 %.
    assert np.all((ratio > 0.55) & (ratio < 1.3)), ratio


def test_a_reference_error_shared_by_all_points_is_not_averaged_away() -> None:
    rig = InventedRig()
    shared = fit_calibration(
        rig.zero(), rig.span(u_random_deg=0.01, u_common_deg=0.1), SENSOR, SCALE
    )
    alone = fit_calibration(rig.zero(), rig.span(u_random_deg=0.1, u_common_deg=0.0), SENSOR, SCALE)

    def u_at_25(fit: Fit) -> float:
        found = used(fit)
        return float(np.hypot(*u_inclination_deg(found, gravity_g(found, rig.counts(25.0)))))

    assert u_at_25(shared) > 1.3 * u_at_25(alone)


def test_what_was_not_seen_keeps_the_data_sheets_uncertainty() -> None:
    rig = InventedRig()
    fit = fit_calibration(rig.zero(), rig.span(), SENSOR, SCALE)
    u = np.sqrt(np.diag(fit.covariance))
    assert u[4] == pytest.approx(SENSOR.u_gain, rel=0.02)  # the gain along the hinge
    assert u[0] < 0.1 * SENSOR.u_bias_g[0]


def test_a_twisted_board_is_found_by_readings_across() -> None:
    rig = InventedRig(across_deg=0.3, twist_deg=0.8, scatter_counts=4.0)
    blind = rig.span()
    seen = [
        msgspec.structs.replace(s, across_deg=rig.slopes_deg(turn)[1], u_across_deg=0.02)
        for s, turn in zip(blind, (10, 15, 20, 25, 30, 35, 35, 30, 25, 20, 15, 10), strict=True)
    ]
    before = fit_calibration(rig.zero(), blind, SENSOR, SCALE)
    after = fit_calibration(rig.zero(), seen, SENSOR, SCALE)
    twist = np.degrees(np.arcsin(np.dot(after.axis, after.level)))
    assert abs(abs(twist) - 0.8) < 0.25
    assert after.covariance[7, 7] < before.covariance[7, 7]


def test_a_wrong_reading_is_noted() -> None:
    rig = InventedRig()
    span = rig.span()
    wrong = span[3].reading._replace(along_deg=span[3].reading.along_deg + 0.3)
    span[3] = msgspec.structs.replace(span[3], reading=wrong)
    fit = fit_calibration(rig.zero(), span, SENSOR, SCALE)
    assert "larger than the reference's stated uncertainty" in fit.notes[0]
    assert max(np.abs(fit.residuals_deg)) == pytest.approx(abs(fit.residuals_deg[4]))


def test_honest_readings_are_rarely_doubted() -> None:
    doubted = 0
    for seed in range(60):
        rig = InventedRig(rng=np.random.default_rng(seed))
        doubted += bool(fit_calibration(rig.zero(), rig.span(), SENSOR, SCALE).notes)
    assert doubted <= 3  # 0.6 expected


def _rest(span: Span, **changes: object) -> Span:
    return msgspec.structs.replace(span, rest=msgspec.structs.replace(span.rest, **changes))


def test_captures_that_will_not_do() -> None:
    rig = InventedRig()
    zero, span = rig.zero(), rig.span()

    def refused(points: list[Span]) -> str:
        with pytest.raises(BadInputError) as caught:
            fit_calibration(zero, points, SENSOR, SCALE)
        return str(caught.value)

    assert "Only 5 span points" in refused(span[:5])
    assert "too close together" in refused(rig.span((18, 19, 20, 21, 22)))
    assert "too close together" in refused(rig.span((10, 35, 10, 35)))
    assert "same side" in refused([msgspec.structs.replace(s, direction="up") for s in span])
    assert "at 44.0° can't be used" in refused([*span, *rig.span((44,), 0.0001, 0.0)])
    assert "not at rest" in refused([*span, _rest(span[0], scatter_counts=(900.0, 8.0, 8.0))])
    assert "end of its range" in refused([*span, _rest(span[0], peak_counts=32767)])
    assert "gravity is 0.50 g" in refused([*span, _rest(span[0], counts=(8196.0, 0.0, 0.0))])


def test_covariance_of_readings_knows_what_they_share() -> None:
    a = Reading(10.0, 0.01, 0.02, "block 1", 0.03)
    b = Reading(20.0, 0.01, 0.02, "block 2", 0.03)
    found = reading_covariance([a, a, b])
    assert found[0, 0] == pytest.approx(1e-4 + 4e-4 + 9e-4)
    assert found[0, 1] == pytest.approx(4e-4 + 9e-4)
    assert found[0, 2] == pytest.approx(4e-4)


def test_rest_is_plain_data() -> None:
    rest = InventedRig().rest(10.0)
    assert msgspec.convert(msgspec.to_builtins(rest), Rest) == rest
