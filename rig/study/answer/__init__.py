"""The answer: one object, built in one place, worded in one place."""
