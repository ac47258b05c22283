"""What of the twin's world each of its teeth is, and the same world without it."""

from typing import Any

from rig.twin.draws import changed
from rig.twin.scenario import Scenario

TEETH: dict[str, dict[str, dict[str, Any]]] = {
    "sticky spots": {"board": {"spots": ()}},
    "creep before the slide": {"bag": {"creep_mm_s": 0.0}},
    "bag that turns as it slides": {"bag": {"turn_deg": 0.0}},
    "fill that shifts": {
        "bag": {"slump_is_sudden": False, "slump_follows": 0.0, "late_slump_mm": 0.0}
    },
    "vibration that reaches the bag": {"board": {"shake_share": 0.0}},
    "crowned board": {"board": {"crown_mm": 0.0}},
    "yaw of board and sensor": {"board": {"yaw_deg": 0.0}, "imu": {"yaw_deg": 0.0}},
}


def without(scenario: Scenario, *names: str) -> Scenario:
    """The world without some of its teeth; without any if none is named."""
    for name in names or TEETH:
        scenario = changed(scenario, **TEETH[name])
    return scenario
