"""Run files, written as the run goes and read after any cut."""
