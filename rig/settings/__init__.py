"""Settings of a rig."""
