"""Text in the cells of a CSV file that a spreadsheet program would otherwise run as a formula.

A text that begins with `=`, `+`, `-`, `@`, a tab or a carriage return gets an apostrophe in front
(the characters are those of OWASP's page on CSV injection, from memory). So does one whose
apostrophes come before such a character, so that `plain_cell` gives back exactly what was there.
Numbers are not texts: they are written as they are, minus sign included.
"""

import re

_RUNS = re.compile(r"'*[=+\-@\t\r]")
_ESCAPED = re.compile(r"'+[=+\-@\t\r]")


def safe_cell(cell: object) -> object:
    """The cell as it goes into a CSV file; anything but a text comes back as it is."""
    return f"'{cell}" if isinstance(cell, str) and _RUNS.match(cell) else cell


def plain_cell(text: str) -> str:
    """The text that `safe_cell` was given."""
    return text[1:] if _ESCAPED.match(text) else text
