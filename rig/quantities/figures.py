"""Figures for people: rounded, with a true minus, and without a sign where nothing is left."""


def figure(value: float, spec: str) -> str:
    """A figure by a format such as `.2f` or `+.1f`."""
    text = format(value, spec)
    if not any(digit in "123456789" for digit in text):
        text = text.lstrip("+-")
    return text.replace("-", "−")


def signed(value: float, digits: int = 2) -> str:
    """A figure with its sign."""
    return figure(value, f"+.{digits}f")


def fixed(value: float, digits: int) -> str:
    """A figure with a sign only below zero."""
    return figure(value, f".{digits}f")
