"""Calibration of the angle sensor against a level, and the check of one that exists."""
