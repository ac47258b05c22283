"""The inclination: from counts to a ramp."""
