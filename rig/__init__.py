"""Controller and analysis for an automated tilt board."""
