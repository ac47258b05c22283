"""Measured tables that say when, where, by which command and of which code they were made.

A table stands in a Markdown file between two comments, under a head of a few lines. The head names
its inputs, the files that the figures hang on, each with a digest of its code; comments, docstrings
and imports do not count. Once an input has changed, the head must say so, or a quick test fails:

    python -m tests.bench.heading           # which tables are older than the code
    python -m tests.bench.heading --mark    # and their heads say so from now on

A bench declares a `Table` and gives its lines to `show`, which writes the head as well.
"""

import argparse
import ast
import hashlib
import os
import platform
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path

ROOT = Path(__file__).parents[2]
OLDER = "older than the code"
END = "<!-- end of table -->"
GONE = "gone"
_BLOCK = re.compile(rf"<!-- table: (.+) -->\n((?:- .+\n)+)\n(?s:.*?){END}")
_HEAD = re.compile(
    r"- measured: (\d{4}-\d\d-\d\d at .+?) on (.+)\n"
    r"- command: (.+), seed (.+)\n"
    r"- inputs: ((?:`[^`]+` \w+(?:, )?)+)\n"
    rf"(?:- {OLDER}: (.+)\n)?"
)
_INPUT = re.compile(r"`([^`]+)` (\w+)")


@dataclass(frozen=True)
class Head:
    """What is said about a table.

    Args:
        when: date, "at", and the commit that it was measured at.
        machine: it was measured on.
        command: that measured it.
        seed: of its random numbers.
        inputs: digest of each input at that time.
        older: says what has changed since; empty as long as nothing has.
    """

    when: str
    machine: str
    command: str
    seed: str
    inputs: dict[str, str]
    older: str = ""

    @classmethod
    def parse(cls, text: str) -> "Head":
        """Read a head.

        Raises:
            ValueError: a line is missing or not as it is written here.
        """
        found = _HEAD.fullmatch(text)
        if found is None:
            raise ValueError(f"not a head of a table:\n{text}")
        when, machine, command, seed, inputs, older = found.groups(default="")
        return cls(when, machine, command, seed, dict(_INPUT.findall(inputs)), older)

    def __str__(self) -> str:
        inputs = ", ".join(f"`{path}` {was}" for path, was in self.inputs.items())
        older = f"- {OLDER}: {self.older}\n" if self.older else ""
        return (
            f"- measured: {self.when} on {self.machine}\n"
            f"- command: {self.command}, seed {self.seed}\n"
            f"- inputs: {inputs}\n{older}"
        )

    def marked(self) -> "Head":
        """The head that names the inputs which have changed since, if any have."""
        changed = [f"`{path}`" for path, was in self.inputs.items() if digest(path) != was]
        return replace(self, older=f"{', '.join(changed)} changed since" if changed else "")


@dataclass(frozen=True)
class Table:
    """A measured table in a Markdown file.

    Args:
        file: the Markdown file, from the project's folder.
        name: no other table of the file has it.
        inputs: the files that the figures hang on, as few as do, from the project's folder.
    """

    file: str
    name: str
    inputs: tuple[str, ...]

    def __post_init__(self) -> None:
        missing = [path for path in self.inputs if not (ROOT / path).is_file()]
        if missing:
            raise FileNotFoundError(f"inputs of the table {self.name}: {', '.join(missing)}")

    def show(self, lines: Iterable[str], *, seed: object, write: bool) -> None:
        """Print head and lines as they come; with `write`, put them into the file as well."""
        # Taken first: the code may be edited while the figures are being made.
        head = Head(
            when=f"{datetime.now(UTC):%Y-%m-%d} at {commit()}",
            machine=machine(),
            command=f"`{shlex.join(['python', *sys.orig_argv[1:]])}`",
            seed=str(seed),
            inputs={path: digest(path) for path in self.inputs},
        )
        print(head, flush=True)
        text = ""
        for line in lines:
            print(line, flush=True)
            text += f"{line}\n"
        if write:
            self.put(head, text)

    def put(self, head: Head, text: str) -> None:
        """Replace the table in its file, or append it."""
        path = ROOT / self.file
        whole = path.read_text("utf-8") if path.exists() else ""
        begin = f"<!-- table: {self.name} -->\n"
        block = f"{begin}{head}\n{text.strip()}\n\n{END}"
        if begin in whole:
            before, rest = whole.split(begin)
            _, after = rest.split(END, 1)
            path.write_text(before + block + after, "utf-8")
        else:
            path.write_text(f"{whole.rstrip()}\n\n{block}\n".lstrip(), "utf-8")


@cache
def digest(path: str) -> str:
    """Of a file's code, in hexadecimal digits; `GONE` if there is no such file."""
    file = ROOT / path
    return digest_of(file.read_bytes(), file.suffix) if file.is_file() else GONE


def digest_of(data: bytes, suffix: str) -> str:
    """Of a file's content: its syntax tree if it is Python, so that its wording does not count."""
    if suffix == ".py":
        data = repr(list(_plain(ast.parse(data)))).encode()
    return hashlib.sha256(data).hexdigest()[:8]


def _plain(node: object) -> Iterator[object]:
    """A tree without imports, docstrings and what differs between versions of Python."""
    if isinstance(node, ast.AST):
        is_text = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        if not is_text and not isinstance(node, ast.Import | ast.ImportFrom):
            if isinstance(node, ast.JoinedStr):  # Python 3.12 has empty parts in some of them
                node.values = [v for v in node.values if getattr(v, "value", None) != ""]
            yield type(node).__name__
            for name, value in ast.iter_fields(node):
                if name != "kind" and (content := list(_plain(value))):
                    yield name, content
    elif isinstance(node, list):
        for part in node:
            yield from ["nothing"] if part is None else _plain(part)
    elif node is not None:
        yield node


def commit() -> str:
    """The commit that is checked out, and whether the code differs from it."""

    def git(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True)  # noqa: S607

    if shutil.which("git") is None:
        return "a commit that is unknown without git"
    found = git("rev-parse", "--short", "HEAD")
    if found.returncode:
        return "a copy without its history"
    differs = git("diff", "--quiet", "HEAD", "--", "rig", "tests/*.py").returncode
    return f"`{found.stdout.strip()}`" + (" with uncommitted changes" if differs else "")


def machine() -> str:
    """This computer, what it is busy with, and what computes on it."""
    told = Path("/proc/cpuinfo").read_text("utf-8")
    model = re.search(r"^(?:model name|Model)\s*: (.+)$", told, re.MULTILINE)
    is_virtual = re.search(r"^flags\s*:.* hypervisor\b", told, re.MULTILINE) is not None
    return (
        f"a {'virtual machine' if is_virtual else 'computer'} with {os.cpu_count()} cores"
        f" ({model[1] if model else 'of unknown kind'}, {platform.machine()}),"
        f" load {os.getloadavg()[0]:.1f} before, Python {platform.python_version()},"
        f" numpy {version('numpy')}, scipy {version('scipy')}"
    )


def columns(*names: str) -> list[str]:
    """The first two lines of a table."""
    return [f"| {' | '.join(names)} |", "|" + " --- |" * len(names)]


def heads(text: str) -> dict[str, Head]:
    """The heads of a file's tables by their names."""
    return {name: Head.parse(head) for name, head in _BLOCK.findall(text)}


def bare_tables(text: str) -> list[str]:
    """First lines of the tables that stand under no head."""
    rest = _BLOCK.sub("", text)
    return re.findall(r"^(\|.*\|)\n\|(?: ?:?-+:? ?\|)+$", rest, re.MULTILINE)


def files() -> list[Path]:
    """Markdown files that may hold tables."""
    return sorted((ROOT / "tests").rglob("*.md"))


def main() -> int:
    """List the tables that are older than the code; 1 if the head of one does not say so."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.heading", description=__doc__)
    parser.add_argument("--mark", action="store_true", help="let the heads say so")
    is_asked = parser.parse_args().mark
    n_unmarked = 0
    for file in files():
        text = file.read_text("utf-8")
        for name, head in heads(text).items():
            now = head.marked()
            if now.older:
                print(f"{file.relative_to(ROOT)}, {name}: {now.older}")
            if is_asked:
                text = text.replace(str(head), str(now))
            elif now.older and not head.older:
                n_unmarked += 1
        if is_asked:
            file.write_text(text, "utf-8")
    if n_unmarked:
        print(f"{n_unmarked} to be marked: python -m tests.bench.heading --mark")
    return int(n_unmarked > 0)


if __name__ == "__main__":
    sys.exit(main())
