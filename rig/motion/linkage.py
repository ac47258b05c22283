"""The linkage as motion sees it; the triangle itself lies with the settings, which check it."""

from rig.settings.kinematics import Kinematics

__all__ = ["Kinematics"]
