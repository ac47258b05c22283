"""Linkage for motion; the triangle itself is in the settings, which check it."""

from rig.settings.kinematics import Kinematics

__all__ = ["Kinematics"]
