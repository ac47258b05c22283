"""Write a run file so that everything written stays readable after a power cut."""

import os
import secrets
import threading
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self
from zlib import crc32

import msgspec

from rig.errors import BadInputError, MachineFaultError
from rig.files.durable import make_folder, sync_file, sync_folder
from rig.runfile.model import End, Event, Flag, Header, Line, Outcome

SUFFIX = ".run.jsonl"


def new_run_id(utc: datetime, token: str | None = None) -> str:
    """A name for a run that sorts by time; `token` (random if not given) makes it unique."""
    stamp = utc.astimezone(UTC).strftime("%Y%m%dT%H%M%S%f")[:-3]
    return f"{stamp}Z-{token or secrets.token_hex(3)}"


def run_folder(root: Path, utc: datetime) -> Path:
    """The folder for runs of this day (UTC) below `root`."""
    return root / utc.astimezone(UTC).strftime("%Y-%m-%d")


def run_path(folder: Path, run_id: str) -> Path:
    """The path of a run's file."""
    return folder / f"{run_id}{SUFFIX}"


class FileOperations(Protocol):
    """The calls to the operating system that a writer makes, so that tests can let them fail."""

    def create(self, path: Path) -> int:
        """Create the file and return its descriptor; raises FileExistsError."""

    def write(self, descriptor: int, data: bytes) -> int:
        """Write some of the data and return how many bytes were taken."""

    def sync(self, descriptor: int) -> None:
        """Bring the file's content to the disk."""

    def sync_folder(self, folder: Path) -> None:
        """Bring the folder's list of files to the disk."""

    def close(self, descriptor: int) -> None:
        """Close the file."""


class OsFiles:
    """The operating system's own calls."""

    def create(self, path: Path) -> int:
        """Create the file, never over another."""
        make_folder(path.parent)
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)

    def write(self, descriptor: int, data: bytes) -> int:
        """Write some of the data."""
        return os.write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """Bring the file's content to the disk."""
        sync_file(descriptor)

    def sync_folder(self, folder: Path) -> None:
        """Bring the folder's list of files to the disk."""
        sync_folder(folder)

    def close(self, descriptor: int) -> None:
        """Close the file."""
        os.close(descriptor)


class RunWriter:
    """One run file being written; every line is handed to the system at once.

    The file's content is forced to the disk at each `state` event and at the end, and its name
    when it is created. May be used from several threads.

    Args:
        path: the new file; its folder is made if it is not there.
        header: the first line.
        files: the calls to the operating system.

    Raises:
        BadInputError: the file exists, or can't be created or begun there.
    """

    def __init__(self, path: Path, header: Header, files: FileOperations | None = None) -> None:
        self.path = path
        self._files = files or OsFiles()
        self._encoder = msgspec.json.Encoder()
        self._lock = threading.Lock()
        self._lines = 0
        self._check = 0
        self._torn = False
        self._descriptor: int | None = None
        try:
            self._descriptor = self._files.create(path)
            self._files.sync_folder(path.parent)
        except FileExistsError as error:
            if path.parent.is_dir():
                why = "it exists already, and a run file is never overwritten"
            else:
                why = "a part of the path is a file, not a folder"
            raise BadInputError(f"Cannot create {path}: {why}; name another folder.") from error
        except OSError as error:
            self._abandon()
            raise BadInputError(
                f"Cannot create {path}: {_reason(error)}; choose a folder you may write to and "
                "that has space (--out)."
            ) from error
        try:
            self.write(header)
        except MachineFaultError as error:
            self._abandon()
            raise BadInputError(
                f"{error.what} Choose a folder that you may write to and that has space (--out)."
            ) from error

    def write(self, line: Line) -> None:
        """Append a line.

        Raises:
            MachineFaultError: cause `disk`, when it can't be written whole.
        """
        with self._lock:
            self._append(line)
            if isinstance(line, Event) and line.event == "state":
                self._sync()

    def end(self, outcome: Outcome, flags: list[Flag], samples_lost: int, bus_retries: int) -> None:
        """Write the last line, bring everything to the disk, and close; once only.

        Raises:
            MachineFaultError: cause `disk`; the file is closed all the same.
        """
        with self._lock:
            if self._descriptor is None:
                return
            # What ends a torn line stands before the last line.
            before = crc32(b"\n" * self._torn, self._check)
            try:
                self._append(
                    End(
                        outcome=outcome,
                        flags=flags,
                        samples_lost=samples_lost,
                        bus_retries=bus_retries,
                        lines=self._lines + self._torn,
                        check=f"{before:08x}",
                    )
                )
                self._sync()
            finally:
                self._close()

    def close(self) -> None:
        """Close without a last line (the file then reads as interrupted); harmless if closed."""
        with self._lock:
            self._close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _append(self, line: Line) -> None:
        if self._descriptor is None:
            raise MachineFaultError("disk", f"{self.path} is closed, and takes no more lines.")
        data = self._encoder.encode(line) + b"\n"
        if self._torn:
            # End the torn line first, so that this one can be read.
            data = b"\n" + data
        written = 0
        try:
            while written < len(data):
                taken = self._files.write(self._descriptor, data[written:])
                if taken <= 0:
                    raise OSError("the system takes no more bytes")
                self._check = crc32(data[written : written + taken], self._check)
                written += taken
        except OSError as error:
            if written:
                self._lines += self._torn
                self._torn = not (self._torn and written == 1)
            raise self._fault(error) from error
        self._lines += 1 + self._torn
        self._torn = False

    def _sync(self) -> None:
        if self._descriptor is None:
            return
        try:
            self._files.sync(self._descriptor)
        except OSError as error:
            raise self._fault(error) from error

    def _close(self) -> None:
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            try:
                self._files.close(descriptor)
            except OSError as error:
                raise self._fault(error) from error

    def _abandon(self) -> None:
        """Give the descriptor back on the way out of a failed constructor."""
        try:
            self.close()
        except MachineFaultError:
            return  # the first failure is the one to report

    def _fault(self, error: OSError) -> MachineFaultError:
        return MachineFaultError(
            "disk",
            f"The run file {self.path} cannot be written: {_reason(error)}.",
        )


def _reason(error: OSError) -> str:
    text = error.strerror or str(error)
    return text[:1].lower() + text[1:]
