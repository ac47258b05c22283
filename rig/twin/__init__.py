"""The simulated rig, standing in for pins, bus and clock."""
