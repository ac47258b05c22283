"""Typed values to and from text: metric and US units, numbers as people type them, times."""
