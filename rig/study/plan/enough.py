"""How far slides of one series scatter by what a study has measured: when a series has enough."""

from collections.abc import Iterable
from typing import NamedTuple

from rig.study.model.data import model_data
from rig.study.model.priors import PRIORS
from rig.study.slides.slide import Slide


class KnownScatter(NamedTuple):
    """A standard deviation, and the degrees of freedom that it counts for."""

    sd_deg: float
    freedom: float


def slide_scatter(slides: Iterable[Slide] = ()) -> KnownScatter:
    """Scatter of a rig's slides within a series: the model's prior, then the slides of all series.

    A prior whose logarithm has the standard deviation τ counts for 1 / (2 τ²) slides (the variance
    of the logarithm of a standard deviation of ν degrees of freedom is about 1 / (2 ν)). The
    settling of a face within a series is taken off, as the model does it.
    """
    prior = PRIORS["run"]
    freedom = 0.5 / prior.spread**2
    squares = freedom * prior.centre**2
    series = [one for one in model_data(slides).series if not one.by_hand]
    squares += sum(one.squares for one in series)
    freedom += sum(one.n - 1 for one in series)
    settling = sum(one.settling_squares for one in series)
    if settling > 0.0:
        squares -= sum(one.settling_products for one in series) ** 2 / settling
        freedom -= 1
    return KnownScatter((squares / freedom) ** 0.5, freedom)
