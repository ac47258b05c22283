"""The twin behind an open rig."""

from rig.opening import OpenRig
from rig.twin.rig import TwinRig


def twin_of(rig: OpenRig) -> TwinRig:
    """For a test that opened one, so that there is one."""
    assert rig.twin is not None
    return rig.twin
