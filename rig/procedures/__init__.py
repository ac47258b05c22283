"""Procedures started by a person: series of runs, guided calibration, self-test."""
