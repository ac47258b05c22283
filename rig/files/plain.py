"""Values as a JSON document takes them."""

from math import isfinite
from typing import Any

import msgspec


def plain(value: Any) -> Any:
    """Plain values of typed ones; numbers that are none are None."""
    return finite(msgspec.to_builtins(value, enc_hook=str.__str__))


def finite(value: Any) -> Any:
    """The same with None for numbers that are none: JSON knows no infinity."""
    if isinstance(value, dict):
        return {key: finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [finite(one) for one in value]
    return None if isinstance(value, float) and not isfinite(value) else value
