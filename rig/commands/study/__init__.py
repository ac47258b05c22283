"""`rig study`: catalogue, journal, readings, plan and status."""
