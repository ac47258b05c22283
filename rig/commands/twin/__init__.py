"""`rig twin`: a simulated rig that remembers."""
