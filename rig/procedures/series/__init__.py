"""A series of runs of one bag face: air, quick start, when to stop, its log."""
