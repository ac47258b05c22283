"""Has the model's process work the answer out, and keeps the last one with its time."""

import asyncio
import sys
import time
from pathlib import Path
from typing import Any

import msgspec

from rig.errors import BadInputError
from rig.panel.study.answers import Enquiry

LONGEST_S = 300.0
"""A model that takes longer is given up; the page says so."""


class Thinker:
    """One answer at a time, in the server's loop; a change meanwhile is taken up afterwards.

    Args:
        study: its folder.
        module: run with the folder; prints the answer.
    """

    def __init__(self, study: Path, module: str = "rig.panel.study.answers") -> None:
        self.answer: dict[str, Any] | None = None
        """The last one, with `error` in place of the rest where there is none yet."""
        self.made_s = 0.0
        """When the last one was begun, by the wall clock: so old is what it knows."""
        self._command = [sys.executable, "-m", module, str(study)]
        self._wanted = ""
        self._has = ""
        self._task: asyncio.Task[None] | None = None
        self._one = asyncio.Lock()

    @property
    def is_working(self) -> bool:
        """A newer answer is on its way."""
        return self._task is not None and not self._task.done()

    @property
    def version(self) -> str:
        """Changes when there is something else to show."""
        return f"{self.made_s:.3f}{self.is_working:d}"

    def want(self, study_version: str) -> None:
        """See to it that there is an answer for this version of the study."""
        self._wanted = study_version
        if self._wanted != self._has and not self.is_working:
            self._task = asyncio.get_running_loop().create_task(self._work())

    async def _work(self) -> None:
        while self._has != self._wanted:
            version, begun_s = self._wanted, time.time()
            try:
                self.answer = await self.ask(Enquiry())
            except BadInputError as error:
                self.answer = {"error": str(error)}
            self._has, self.made_s = version, begun_s

    async def ask(self, wanted: Enquiry) -> dict[str, Any]:
        """The answer to one question.

        Raises:
            BadInputError: the process did not come to an answer.
        """
        pipe = asyncio.subprocess.PIPE
        async with self._one:
            process = await asyncio.create_subprocess_exec(*self._command, stdin=pipe, stdout=pipe)
            try:
                async with asyncio.timeout(LONGEST_S):
                    data, _ = await process.communicate(msgspec.json.encode(wanted))
                    return dict(msgspec.json.decode(data))
            except (TimeoutError, msgspec.DecodeError):
                raise BadInputError(
                    "The answer could not be worked out; `rig answer` says why."
                ) from None
            finally:
                if process.returncode is None:
                    process.kill()
                    await process.wait()

    async def close(self) -> None:
        """End the model's process."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
