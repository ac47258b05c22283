"""Whether the first edge belongs to the slide, or came from fill that slumped into the beam before.

The likelihood of both is compared, which finds more than any limit on the misfit (Neyman and
Pearson, Phil. Trans. R. Soc. A 231, 1933): an early edge often fits a bag whose friction hardly
falls, but fits a slump far better.
"""

import math
from statistics import NormalDist

from rig.analysis.onset.posterior import OnsetPosterior
from rig.sliding import slide_time_s

LEAST_MISFIT = 1.0
"""Edges that fit so well are those of a slide, whatever a slump would explain: χ²."""


def slump_log_odds(
    whole: OnsetPosterior,
    without: OnsetPosterior,
    first_s: float,
    to_break_mm: tuple[float, float],
    angle_deg: float,
    rate_deg_s: float,
) -> float:
    """Logarithm of the likelihood of a slump against that of a slide, up to a constant.

    In a slide the first edge comes when the others and the distances say, normally about it. A
    slump comes at any time before the onset, even in the logarithm of how long before.

    Args:
        whole: of all edges.
        without: of all but the first.
        first_s: time of the first edge.
        to_break_mm: from the start to the first beam, with its standard uncertainty.
        angle_deg: inclination at the first edge.
        rate_deg_s: rate of the raise.
    """
    place_mm, u_place_mm = to_break_mm
    # A bag that starts from rest on a steady ramp takes as place^(1/3).
    u_time_s = slide_time_s(place_mm, rate_deg_s, angle_deg) * u_place_mm / (3.0 * place_mm)
    later_s, u_s = without.onset_s - first_s, without.u_time_s
    is_later = NormalDist().cdf(later_s / u_s)
    before_s = math.hypot(max(later_s, 0.0), u_s)
    better = 0.5 * (whole.misfit - without.misfit)
    return better + math.log(max(is_later, 1e-300) * u_time_s / before_s)
