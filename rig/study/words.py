"""Chances in the study's sentences and tables."""

SMALLEST_P = 0.001


def chance(p: float) -> str:
    """A p-value for a table; no p is zero."""
    return f"< {SMALLEST_P}" if p < SMALLEST_P else f"{p:.3f}"


def p_equals(p: float) -> str:
    """A p-value for a sentence."""
    return f"p {chance(p)}" if p < SMALLEST_P else f"p = {chance(p)}"
