"""Whether the first edge belongs to the slide, or came from fill that slumped into the beam before.

The probabilities of both are compared, which finds more than any limit on the misfit (Neyman and
Pearson, Phil. Trans. R. Soc. A 231, 1933): an early edge often fits a bag whose friction hardly
falls, but fits a slump far better. Each is the whole evidence, over all laws and drops, since the
law that fits best of all is seldom a likely one.
"""

import math

import numpy as np

from rig.analysis.onset.posterior import OnsetPosterior

LEAST_SLUMPED = 0.15
"""Edges that tell of less slump than this, as a probability, need not be weighed against one that
broke the beam."""

LIKELIER = 0.0
"""Log odds from which the first edge counts as a slump: it is the likelier of the two."""

EARLY_DEG = 0.02, 2.5
"""A slump into the beam comes so long before the onset, even in the logarithm. Judged."""


def slump_log_odds(
    whole: OnsetPosterior, without: OnsetPosterior, first_s: float, rate_deg_s: float
) -> float:
    """Logarithm of the evidence of a slump into the beam against that of a slide.

    Args:
        whole: of all edges.
        without: of all but the first.
        first_s: time of the first edge.
        rate_deg_s: rate of the raise.
    """
    nodes = np.linspace(-4.0, 4.0, 161)
    weight = np.exp(-nodes * nodes / 2.0)
    early_s = without.onset_s + without.u_time_s * nodes - first_s
    low, high = (early_deg / rate_deg_s for early_deg in EARLY_DEG)
    can_be = (early_s > low) & (early_s < high)
    density = can_be / np.maximum(early_s, low) / math.log(high / low)
    density_1_s = float(weight @ density) / float(weight.sum())
    return without.log_evidence + math.log(max(density_1_s, 1e-300)) - whole.log_evidence
