"""One guard of the table: where it stands, how it is weakened, which tests must die."""

import ast
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from tests.guards.syntax import Source, find, is_expression, scope

ROOT = Path(__file__).resolve().parents[2]


class Weakening(Protocol):
    """A change of the source that takes a guard away or makes it weaker."""

    def __str__(self) -> str:
        """What it does, in a line."""

    def apply(self, source: Source, place: str) -> str:
        """The weakened source; raises GoneError if what it changes is not in the place."""


@dataclass(frozen=True, slots=True)
class Change:
    """An expression or a statement is replaced by another."""

    old: str
    new: str
    nth: int | None = None

    def __str__(self) -> str:
        which = f" (no. {self.nth})" if self.nth else ""
        return f"{_short(self.old)} → {_short(self.new)}{which}"

    def apply(self, source: Source, place: str) -> str:
        statement = not is_expression(self.new)
        node = find(source, place, self.old, self.nth, statement=statement)
        span = source.span(node)
        if isinstance(node, ast.stmt):
            indent = "\n" + " " * node.col_offset
            return source.replaced((span, indent.join(self.new.splitlines())))
        return source.replaced((span, f"({self.new})"))


@dataclass(frozen=True, slots=True)
class Scaled:
    """The value of a constant is multiplied."""

    times: float

    def __str__(self) -> str:
        return f"× {self.times:g}"

    def apply(self, source: Source, place: str) -> str:
        node = scope(source.tree, place)
        assert isinstance(node, ast.Assign | ast.AnnAssign)
        assert node.value is not None
        span = source.span(node.value)
        by = int(self.times) if self.times == int(self.times) else self.times
        return source.replaced((span, f"({source.cut(span)}) * {by!r}"))


@dataclass(frozen=True, slots=True)
class Swapped:
    """Two statements change places."""

    first: str
    second: str

    def __str__(self) -> str:
        return f"{_short(self.first)} after {_short(self.second)}"

    def apply(self, source: Source, place: str) -> str:
        spans = [
            source.span(find(source, place, one, None, statement=True))
            for one in (self.first, self.second)
        ]
        return source.replaced(*zip(spans, [source.cut(span) for span in spans[::-1]], strict=True))


@dataclass(frozen=True, slots=True)
class Guard:
    """One entry.

    Args:
        module: dotted name of the module.
        place: function, class or constant in it, dotted; empty for the module itself.
        weakening: what is changed.
        tests: node ids of the tests that must fail, each of them.
    """

    module: str
    place: str
    weakening: Weakening
    tests: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.module}:{self.place}: {self.weakening}"

    @property
    def package(self) -> str:
        """The folder of `rig` that it belongs to."""
        return self.module.split(".")[1]

    @property
    def path(self) -> Path:
        """The module's file, from the root of the project."""
        plain = Path(*self.module.split("."))
        return plain / "__init__.py" if (ROOT / plain).is_dir() else plain.with_suffix(".py")

    def weakened(self, root: Path) -> str:
        """The module's source without the guard.

        Raises:
            GoneError: what it changes is not there.
        """
        return self.weakening.apply(Source((root / self.path).read_text("utf-8")), self.place)

    def digest(self, root: Path) -> str:
        """A short hash of all that decides whether the tests die: the place and the tests."""
        tree = ast.parse((root / self.path).read_text("utf-8"))
        parts = [f"{self.place}: {self.weakening}", ast.dump(scope(tree, self.place))]
        for test in self.tests:
            path, _, name = test.partition("::")
            text = (root / path).read_text("utf-8")
            where = name.partition("[")[0].replace("::", ".")
            parts.append(ast.dump(scope(ast.parse(text), where)))
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def change(
    module: str, place: str, old: str, new: str, *tests: str, nth: int | None = None
) -> Guard:
    """`old` becomes `new`; `nth` says which where there are several."""
    return Guard(module, place, Change(old, new, nth), tests)


def limit(module: str, name: str, *tests: str, times: float = 2.0) -> Guard:
    """A constant is multiplied."""
    return Guard(module, name, Scaled(times), tests)


def without(module: str, place: str, statement: str, *tests: str, nth: int | None = None) -> Guard:
    """A statement is left out."""
    return Guard(module, place, Change(statement, "pass", nth), tests)


def never(module: str, place: str, condition: str, *tests: str, nth: int | None = None) -> Guard:
    """A condition is never met."""
    return Guard(module, place, Change(condition, "False", nth), tests)


def always(module: str, place: str, condition: str, *tests: str, nth: int | None = None) -> Guard:
    """A condition is always met."""
    return Guard(module, place, Change(condition, "True", nth), tests)


def inverted(module: str, place: str, condition: str, *tests: str, nth: int | None = None) -> Guard:
    """A condition is met when it should not be."""
    return Guard(module, place, Change(condition, f"not ({condition})", nth), tests)


def swapped(module: str, place: str, first: str, second: str, *tests: str) -> Guard:
    """Two statements change places."""
    return Guard(module, place, Swapped(first, second), tests)


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 60 else line[:57] + "…"
