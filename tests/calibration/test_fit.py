from typing import Any

import msgspec
import numpy as np
import pytest

from rig.calibration.apply import gravity_g, inclination_deg, u_inclination_deg
from rig.calibration.captures import Rest, Span
from rig.calibration.file import validate_calibration
from rig.calibration.fit import AxisFit, fit_calibration, reading_covariance
from rig.calibration.model import Calibration
from rig.calibration.reference import ReferenceReading
from rig.calibration.sensors import CLASSES, SensorPrior
from rig.calibration.six_position import Drift
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


def used(fit: AxisFit) -> Calibration:
    return calibration(
        bias_g=fit.bias_g,
        gain=fit.gain,
        level=fit.level,
        axis=fit.axis,
        covariance=tuple(tuple(row) for row in fit.covariance.tolist()),
        temperature_c=fit.temperature_c,
    )


def errors_deg(rig: InventedRig, fit: AxisFit, turns: tuple[float, ...]) -> np.ndarray:
    """What the calibrated sensor says less the true total inclination."""
    found = used(fit)
    said = inclination_deg(found, gravity_g(found, [rig.counts(turn) for turn in turns]))
    return said - np.array([rig.slopes_deg(turn)[2] for turn in turns])


@pytest.mark.parametrize("mounting", MOUNTINGS)
@pytest.mark.parametrize("fault", [{}, {"across_deg": 1.0}, {"level_error_deg": 0.1}])
def test_any_mounting_is_recovered_within_its_uncertainty(
    mounting: str, fault: dict[str, Any]
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

    def u_at_25(fit: AxisFit) -> float:
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
    assert "too large for the reference's stated uncertainty" in fit.notes[0]
    assert max(np.abs(fit.residuals_deg)) == pytest.approx(abs(fit.residuals_deg[4]))


KNOWN = SensorPrior((0.0, 0.0, 0.0), (1.0, 1.0, 1.0), np.eye(6) * 1e-14)
"""A sensor of which everything is known: what is left is the reference's own doubt."""
SQUARE = SENSOR._replace(u_axes=1e-6)


def known_rig(**truth: object) -> InventedRig:
    return InventedRig(bias_g=(0.0, 0.0, 0.0), gain=(1.0, 1.0, 1.0), **truth)  # type: ignore[arg-type]


def by_turns(rig: InventedRig, error_deg: float, u_deg: float) -> list[Span]:
    """Span points whose readings are too high and too low in turns."""
    return [
        msgspec.structs.replace(
            one,
            reading=ReferenceReading(
                rig.slopes_deg(turn)[0] + error_deg * (-1.0) ** k, u_deg, 0.0, str(turn)
            ),
        )
        for k, (one, turn) in enumerate(
            zip(rig.span(), (10, 15, 20, 25, 30, 35, 35, 30, 25, 20, 15, 10), strict=True)
        )
    ]


@pytest.mark.parametrize(("error_deg", "is_doubted"), [(0.147, False), (0.149, True)])
def test_residuals_that_come_once_in_a_hundred_fits_are_doubted(
    error_deg: float, is_doubted: bool
) -> None:
    """12 readings of u = 0.1°: χ² = 1200 · error², and 26.217 is exceeded by 1 % (tables)."""
    rig = known_rig()
    fit = fit_calibration(rig.zero(u_deg=0.0), by_turns(rig, error_deg, 0.1), SQUARE, SCALE, KNOWN)
    assert fit.chi2 == pytest.approx(1200.0 * error_deg**2, rel=0.01)
    assert fit.dof == pytest.approx(12.0, abs=0.02)
    assert bool(fit.notes) is is_doubted


def test_parameters_cost_degrees_of_freedom() -> None:
    """A bias along the slide and the readings' common part are fitted: less than 12 are left."""
    rig = InventedRig()
    assert 8.0 < fit_calibration(rig.zero(), rig.span(), SENSOR, SCALE).dof < 11.5


def test_the_worst_residual_is_named_with_its_sign() -> None:
    rig = known_rig()
    span = by_turns(rig, 0.0, 0.05)
    wrong = span[6].reading._replace(along_deg=35.0 - 0.4)
    span[6] = msgspec.structs.replace(span[6], reading=wrong)
    fit = fit_calibration(rig.zero(u_deg=0.0), span, SQUARE, SCALE, KNOWN)
    assert "(up to -0.39" in fit.notes[0]


def test_the_level_is_known_as_well_as_its_readings() -> None:
    """Span readings of 5° and a known sensor: the level at zero alone says where level is."""
    rig = known_rig()
    zero = rig.zero(u_deg=0.0)
    zero = msgspec.structs.replace(
        zero,
        along=zero.along._replace(u_slope_deg=0.1),
        across=zero.across._replace(u_slope_deg=0.04),
    )
    fit = fit_calibration(zero, by_turns(rig, 0.0, 5.0), SQUARE, SCALE, KNOWN)
    assert np.sqrt(fit.covariance[6, 6]) == pytest.approx(0.1, rel=0.02)
    assert np.sqrt(fit.covariance[7, 7]) == pytest.approx(0.04, rel=0.02)


@pytest.mark.parametrize("bias_g", [0.03, -0.03])
def test_a_twist_and_a_bias_along_the_hinge_share_what_the_arc_cannot_tell_apart(
    bias_g: float,
) -> None:
    """0.03 g is 1.72°, as likely for a bias as 0.5° for a twist: 1 : 0.0846 of the squares."""
    rig = InventedRig(
        bias_g=(0.0, bias_g, 0.0), gain=(1.0, 1.0, 1.0), scatter_counts=0.0, noise_counts=0.0
    )
    fit = fit_calibration(rig.zero(u_deg=0.0), rig.span(), SQUARE, SCALE)
    assert fit.bias_g[1] == pytest.approx(bias_g / 1.0846, rel=0.005)


@pytest.mark.parametrize("cause", ["noise", "axes", "temperature"])
def test_what_blurs_the_vectors_widens_the_parameters(cause: str) -> None:
    rig = InventedRig(scatter_counts=1.0)
    zero, span = rig.zero(), rig.span()
    plain = fit_calibration(zero, span, SQUARE, SCALE)
    sensor = SQUARE
    if cause == "noise":
        span = [_rest(s, scatter_counts=(1.0, 100.0, 1.0)) for s in span]
    elif cause == "axes":
        sensor = SQUARE._replace(u_axes=1e-3)
    else:
        span = [_rest(s, temperature_c=25.0 + 10.0 * (-1.0) ** i) for i, s in enumerate(span)]
    blurred = fit_calibration(zero, span, sensor, SCALE)
    assert blurred.u_axis_deg > 3.0 * plain.u_axis_deg


def test_a_known_drift_is_taken_off() -> None:
    rig = InventedRig()
    drift = Drift((3e-4, -2e-4, 1e-4), 1e-7)

    def at(rest: Rest, warmer_k: float) -> Rest:
        counts = np.array(rest.counts) + SCALE * warmer_k * np.array(drift.drift_g_per_k)
        return msgspec.structs.replace(
            rest, counts=tuple(counts.tolist()), temperature_c=20.0 + warmer_k
        )

    zero, span = rig.zero(), rig.span()
    zero = msgspec.structs.replace(zero, rest=at(zero.rest, 0.0))
    span = [msgspec.structs.replace(s, rest=at(s.rest, float(i))) for i, s in enumerate(span)]
    fit = fit_calibration(zero, span, SENSOR, SCALE, None, drift)
    # The mean of 0, 0, 1 … 11 K.
    assert fit.temperature_c == pytest.approx(20.0 + 66.0 / 13.0)
    warmer = fit.temperature_c - 20.0
    assert fit.bias_g[0] == pytest.approx(rig.bias_g[0] + warmer * 3e-4, abs=6e-4)
    assert max(np.abs(fit.residuals_deg)) < 0.06
    assert fit.notes == ()


def test_the_references_uncertainty_is_that_of_all_its_parts() -> None:
    rig = InventedRig()
    span = [
        msgspec.structs.replace(s, reading=s.reading._replace(u_random_deg=0.03, u_common_deg=0.04))
        for s in rig.span()
    ]
    assert fit_calibration(rig.zero(), span, SENSOR, SCALE).u_reference_deg == pytest.approx(0.05)


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
    assert "measures gravity as 0.50 g" in refused(
        [*span, _rest(span[0], counts=(8196.0, 0.0, 0.0))]
    )


def test_covariance_of_readings_knows_what_they_share() -> None:
    a = ReferenceReading(10.0, 0.01, 0.02, "block 1", 0.03)
    b = ReferenceReading(20.0, 0.01, 0.02, "block 2", 0.03)
    found = reading_covariance([a, a, b])
    assert found[0, 0] == pytest.approx(1e-4 + 4e-4 + 9e-4)
    assert found[0, 1] == pytest.approx(4e-4 + 9e-4)
    assert found[0, 2] == pytest.approx(4e-4)


def test_rest_is_plain_data() -> None:
    rest = InventedRig().rest(10.0)
    assert msgspec.convert(msgspec.to_builtins(rest), Rest) == rest
