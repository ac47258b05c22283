"""`rig run`: one series, or those of a plan, and what a person sees meanwhile."""
