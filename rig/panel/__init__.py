"""The page on the rig: watches and serves the machine from a browser."""
