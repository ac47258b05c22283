"""A study's folder: its catalogue, its journal, and how both are kept."""
