"""Budgets of uncertainty: of a run, and of a difference."""
