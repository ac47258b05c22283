"""Small pure functions of statistics."""
