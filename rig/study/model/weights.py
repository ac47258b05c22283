"""Importance weights, with their tail smoothed, and how far they may be trusted.

Pareto smoothing: the largest weights become quantiles of a generalised Pareto distribution that is
fitted to them (Vehtari et al., J. Mach. Learn. Res. 25, 72, 2024); its shape k̂ tells how heavy the
tail is. The fit is that of Zhang and Stephens (Technometrics 51, 316, 2009).
"""

import numpy as np

from rig.study.model.design import F

TRUSTED_K = 0.7
"""Above it the weights are not to be trusted (Vehtari et al., as above)."""


def smoothed(log_weights: F) -> tuple[F, float]:
    """Normalised weights with a smoothed tail, and k̂."""
    weights = np.exp(log_weights - log_weights.max())
    n = len(weights)
    m = int(min(0.2 * n, 3.0 * n**0.5))
    order = np.argsort(weights, kind="stable")
    tail, cut = order[-m:], weights[order[-m - 1]] if n > m else 0.0
    excess = weights[tail] - cut
    if m < 5 or (excess[0] <= 0.0 and excess[-1] <= 0.0):
        return weights / weights.sum(), 0.0
    k, sigma = pareto_fit(np.maximum(excess, 1e-300))
    p = (np.arange(m) + 0.5) / m
    quantiles = sigma * (np.expm1(-k * np.log1p(-p)) / k if abs(k) > 1e-9 else -np.log1p(-p))
    weights[tail] = np.minimum(cut + quantiles, weights.max())
    return weights / weights.sum(), k


def pareto_fit(excess: F) -> tuple[float, float]:
    """Shape k and scale σ of a generalised Pareto distribution.

    Args:
        excess: above the threshold, in ascending order.
    """
    n = len(excess)
    m = 30 + int(n**0.5)
    quarter = excess[int(n / 4.0 + 0.5) - 1]
    theta = 1.0 - np.sqrt(m / (np.arange(1, m + 1) - 0.5))
    theta = theta / (3.0 * quarter) + 1.0 / excess[-1]
    k = np.log1p(-theta[:, None] * excess).mean(axis=1)
    fit = n * (np.log(-theta / k) - k - 1.0)
    share = np.exp(fit - np.logaddexp.reduce(fit))
    best = float(share @ theta)
    shape = float(np.log1p(-best * excess).mean())
    # A weak prior towards 0.5 steadies the shape of short tails (Vehtari et al., appendix).
    return (shape * n + 0.5 * 10.0) / (n + 10.0), -shape / best


def effective(weights: F) -> float:
    """Effective number of draws with these normalised weights (Kish)."""
    return float(1.0 / (weights**2).sum())


def resampled(weights: F, n: int) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Numbers of `n` draws in proportion to weights, in equal steps through them."""
    steps = (np.arange(n) + 0.5) / n
    return np.minimum(np.searchsorted(np.cumsum(weights), steps), len(weights) - 1)
