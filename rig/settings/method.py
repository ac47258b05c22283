"""How a raise may be made: ranges and figures that settings, catalogue, commands and page share.

Nothing heavy is loaded here, so that `rig --help` stays quick.
"""

RATE_DEG_S = (0.1, 3.0)
"""Slower takes minutes a slide; faster leaves a delay in which friction falls unseen."""
DWELL_S = (0.0, 3600.0)
GAP_MM = (1.0, 50.0)
"""As a person places a bag."""
RUNS = (1, 1000)
"""Of one series."""

QUICK_RATE_DEG_S = 2.5
"""Rate of a quick start where the pulses allow it."""
SETTLING_RATE_DEG_S = 1.5
"""Rate of a settling raise where the pulses allow it."""
MEASURED_DEG = 3.0
"""Part of a raise with quick start, before the expected slide, that goes at the measuring rate."""
