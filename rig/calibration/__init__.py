"""The calibration file and what follows from it."""
