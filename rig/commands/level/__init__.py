"""`rig level`: calibration, its check and its history."""
