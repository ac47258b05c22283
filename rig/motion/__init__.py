"""Geometry and timing of the board's movement."""
