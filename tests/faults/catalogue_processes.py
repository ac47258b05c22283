"""What can happen to the processes behind the page, and how it is made to happen."""

import os
import resource
import shutil
import signal
import subprocess
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from tests.faults.page_process import PageProcess, guess, strangers
from tests.faults.watched import Watch

EVERYWHERE = ("parked", "homing", "placing", "raising", "lowering")
MOVING = ("homing", "raising")
STRANGERS, ADDRESSES = 48, 6

Act = Callable[[PageProcess], None]


class ProcessFault(NamedTuple):
    """One thing that happens."""

    name: str
    act: Act
    states: tuple[str, ...] = MOVING
    ends_machine: bool = False
    """The machine's own process is killed: what its lines do then is the kernel's."""
    most_inodes: int | None = None


def stall(page: PageProcess) -> None:
    """The terminal takes nothing more, and strangers give the program something to say."""
    page.stall()
    guess(page.port, 20)


def out_of(limit: int, room: int = 0) -> Act:
    """The machine's process gets no more of something than it has."""

    def act(page: PageProcess) -> None:
        number = page.process.pid
        if limit == resource.RLIMIT_NOFILE:
            used = max(int(path.name) for path in Path(f"/proc/{number}/fd").iterdir()) + 1
        else:
            pages = int(Path(f"/proc/{number}/statm").read_text().split()[0])
            used = pages * resource.getpagesize()
        _, hard = resource.prlimit(number, limit)
        resource.prlimit(number, limit, (used + room, hard))

    return act


def files_of_web(page: PageProcess) -> None:
    """The web server's process can take no more connections."""
    web = page.web
    used = max(int(path.name) for path in Path(f"/proc/{web}/fd").iterdir()) + 1
    _, hard = resource.prlimit(web, resource.RLIMIT_NOFILE)
    resource.prlimit(web, resource.RLIMIT_NOFILE, (used, hard))


def kill_web(page: PageProcess) -> None:
    """The web server's process dies."""
    os.kill(page.web, signal.SIGKILL)


def kill_web_for_good(limit: int) -> Act:
    """It dies, and there is no room for another one."""

    def act(page: PageProcess) -> None:
        out_of(limit)(page)
        kill_web(page)

    return act


def pause(seconds: float, *, of_web: bool) -> Act:
    """A process stands still for so long."""

    def act(page: PageProcess) -> None:
        number = page.web if of_web else page.process.pid
        os.kill(number, signal.SIGSTOP)

        def go_on() -> None:
            time.sleep(seconds)  # noqa: TID251 - a process is watched, not a rig
            with suppress(ProcessLookupError):
                os.kill(number, signal.SIGCONT)

        threading.Thread(target=go_on, daemon=True).start()
        time.sleep(0.05)  # noqa: TID251 - a process is watched, not a rig

    return act


def kill_machine(page: PageProcess) -> None:
    """The machine's process dies, and with it the page."""
    page.process.kill()
    page.process.wait()


def crowd(page: PageProcess) -> None:
    """As many pages of strangers as there are places."""
    page.held = strangers(page.port, STRANGERS, ADDRESSES)


def set_back(page: PageProcess) -> None:
    """The wall clock goes back by an hour."""
    page.motor.with_suffix(".hour_back").touch()
    time.sleep(2.0)  # noqa: TID251 - it is looked at that often


def delete(page: PageProcess) -> None:
    """Somebody deletes the folder of the run files."""
    shutil.rmtree(page.runs)


def fill_inodes(page: PageProcess) -> None:
    """No file can be made any more where the run files lie."""
    number = 0
    with suppress(OSError):
        while True:
            (page.runs / f"filler {number}").touch()
            number += 1


def second_process(page: PageProcess) -> None:
    """Another one is begun on the same folder; it must be refused and disturb nobody."""
    other = page.motor.with_name("other")
    words = [str(other) if word == str(page.motor) else word for word in page.words]
    done = subprocess.run(words, cwd=page.root, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    assert not Watch.read(other).pulses


PROCESS_FAULTS = (
    ProcessFault("none", lambda _: None),
    ProcessFault("terminal stalled (Ctrl-S)", stall, EVERYWHERE),
    ProcessFault("no more files for the machine's process", out_of(resource.RLIMIT_NOFILE)),
    ProcessFault("no more files for the web server", files_of_web),
    ProcessFault("no more memory for the machine's process", out_of(resource.RLIMIT_AS)),
    ProcessFault("web server killed", kill_web, EVERYWHERE),
    ProcessFault(
        "web server killed, no file left for another",
        kill_web_for_good(resource.RLIMIT_NOFILE),
        ("raising",),
    ),
    ProcessFault(
        "web server killed, no memory left to start another",
        kill_web_for_good(resource.RLIMIT_AS),
        ("raising",),
    ),
    ProcessFault("machine's process stopped for 1 s", pause(1.0, of_web=False), EVERYWHERE),
    ProcessFault("machine's process stopped for 10 s", pause(10.0, of_web=False)),
    ProcessFault("web server stopped for 1 s", pause(1.0, of_web=True)),
    ProcessFault("web server stopped for 10 s", pause(10.0, of_web=True)),
    ProcessFault("machine's process killed", kill_machine, ends_machine=True),
    ProcessFault("48 strangers from 6 addresses", crowd),
    ProcessFault("wall clock set back by an hour", set_back),
    ProcessFault("folder of the run files deleted", delete),
    ProcessFault("no more inodes for run files", fill_inodes, most_inodes=40),
    ProcessFault("a second process on the same folder", second_process, EVERYWHERE),
)
