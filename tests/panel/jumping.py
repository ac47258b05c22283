"""An event loop whose time jumps to the next thing that is due."""

import asyncio
import selectors
from typing import Any


class _Selector(selectors.SelectSelector):
    """Waits for nothing; the time goes on by as much as was asked for."""

    now_s = 0.0

    def select(self, timeout: float | None = None) -> Any:
        self.now_s += max(0.0, timeout or 0.0)
        return super().select(0)


class JumpingLoop(asyncio.SelectorEventLoop):
    """Its time is 0 at first."""

    def __init__(self) -> None:
        self._jumping = _Selector()
        super().__init__(self._jumping)

    def time(self) -> float:
        return self._jumping.now_s
