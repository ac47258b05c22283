"""The budget's law of propagation against draws through the whole analysis (JCGM 101:2008).

Gap, slump, length, receiver's response, filter delay, drift and the eight parameters of the
calibration, with the covariance that a real fit left, are drawn from the distributions that the
budget states, and each draw is analysed anew from the raw counts. The standard deviation of what
comes out is compared with the budget's root sum of squares over the same components.
"""

import math

import msgspec
import numpy as np
import pytest

from rig.analysis.friction import analyse_run
from rig.calibration.fit import fit_calibration
from rig.calibration.model import Calibration
from rig.calibration.sensors import CLASSES
from rig.runfile.reader import RunFile
from tests.analysis.slides import one_beam, run_file, slide
from tests.calibration.example import calibration
from tests.calibration.invented_rig import SCALE, InventedRig

pytestmark = pytest.mark.long

DRAWS = 300
DRAWN = (
    "filter delay",
    "gap",
    "length and skew",
    "beam response",
    "calibration",
    "level",
    "temperature",
)


@pytest.fixture(scope="module")
def fitted() -> Calibration:
    """A sensor without errors, with the covariance of a fit to a level and a sine bar."""
    rig = InventedRig(mounting_deg=(0.0, 0.0, 0.0))
    fit = fit_calibration(rig.zero(), rig.span(), CLASSES["lsm6dsox"], SCALE)
    return calibration(
        filter_delay_ms=22.0,
        u_filter_delay_ms=3.0,
        temperature_c=16.0,
        u_drift_g_per_k=1e-4,
        covariance=tuple(tuple(row) for row in fit.covariance.tolist()),
    )


def drawn_calibration(true: Calibration, rng: np.random.Generator) -> Calibration:
    errors = rng.multivariate_normal(np.zeros(8), np.array(true.covariance), method="cholesky")
    along, across = np.radians(errors[6:])
    level = np.array([along, across, 1.0])
    return msgspec.structs.replace(
        true,
        bias_g=tuple((np.array(true.bias_g) + errors[:3]).tolist()),
        gain=tuple((np.array(true.gain) + errors[3:6]).tolist()),
        level=tuple((level / np.linalg.norm(level)).tolist()),
        drift_g_per_k=tuple(rng.normal(0.0, true.u_drift_g_per_k, 3).tolist()),
        filter_delay_ms=true.filter_delay_ms + rng.normal(0.0, true.u_filter_delay_ms),
    )


def drawn_run(run: RunFile, rng: np.random.Generator) -> RunFile:
    header, settings = run.header, run.header.settings
    assert header.gap_mm is not None
    assert header.bag_length_mm is not None
    assert header.u_gap_mm is not None
    assert header.u_bag_length_mm is not None
    beam = msgspec.structs.replace(
        settings.beam,
        response_ms=settings.beam.response_ms + rng.normal(0.0, settings.beam.u_response_ms),
    )
    settings = msgspec.structs.replace(
        settings, beam=beam, slump_mm=settings.slump_mm + rng.normal(0.0, settings.u_slump_mm)
    )
    changed = msgspec.structs.replace(
        header,
        settings=settings,
        gap_mm=header.gap_mm + rng.normal(0.0, header.u_gap_mm),
        bag_length_mm=header.bag_length_mm + rng.normal(0.0, header.u_bag_length_mm),
    )
    return msgspec.structs.replace(run, header=changed)


@pytest.mark.parametrize(
    ("mu_fall", "rate_deg_s", "tolerance"),
    [(0.05, 1.0, 0.12), (0.05, 3.0, 0.12), (0.012, 1.0, 0.15)],
)
def test_the_budget_is_what_draws_scatter_by(
    fitted: Calibration, mu_fall: float, rate_deg_s: float, tolerance: float
) -> None:
    settings = run_file(1.0, [], end_s=1.0).header.settings
    slump = settings.slump_mm
    true = slide(0.42, 0.42 - mu_fall, rate_deg_s, [8.0 - slump, 160.0])
    run = run_file(rate_deg_s, one_beam(true.edges_s), calibration=fitted)
    found = analyse_run(run)
    assert found.budget is not None
    assert found.result.onset_angle_deg is not None
    stated = math.sqrt(sum(p.u_theta_deg**2 for p in found.budget.components if p.name in DRAWN))
    # A rare slump has a line only where the edges speak for one.
    assert {part.name for part in found.budget.components} - {"slump"} == set(DRAWN) | {
        *("ramp fit", "sample times", "shape of the edges", "kinetic friction"),
        *("friction law", "friction law, rate-free", "crown of the board"),
    }
    rng = np.random.default_rng(101)
    angles = []
    for _ in range(DRAWS):
        row = analyse_run(drawn_run(run, rng), drawn_calibration(fitted, rng)).result
        assert row.onset_angle_deg is not None
        angles.append(row.onset_angle_deg)
    # 300 draws leave 4 % of doubt in a standard deviation.
    assert stated == pytest.approx(np.std(angles, ddof=1), rel=tolerance)
    # The solver is straight enough that draws do not shift the mean by a third of u.
    assert abs(np.mean(angles) - found.result.onset_angle_deg) < 0.35 * stated
