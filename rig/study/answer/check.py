"""Match day's check: what slides of the pick on the day's board say about it and about the others.

What the day adds shifts all bags alike. The printed sheet and the page go by this rule.
"""


def kept_between(target_deg: float, tolerance_deg: float) -> tuple[float, float]:
    """The pick is used if the median of its slides lies in here: least and most, in degrees."""
    return target_deg - tolerance_deg, target_deg + tolerance_deg


def use_at_deg(pick_deg: float, angle_deg: float, target_deg: float) -> float:
    """Median of the pick's slides at which another bag lies on its target.

    Args:
        pick_deg: what the pick is expected to slide at.
        angle_deg: what the other bag is expected to slide at.
        target_deg: of that bag's face.
    """
    return pick_deg + target_deg - angle_deg
