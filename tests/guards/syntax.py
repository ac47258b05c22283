"""Finds a piece of code through the syntax tree and rewrites it in the source text.

A pattern is Python source. `...` in it stands for any expression, for any arguments of a call, or
for any block; everything else must be there as written, however it is laid out.
"""

import ast
import textwrap
from collections.abc import Iterator
from typing import NamedTuple


class GoneError(Exception):
    """The place or the pattern is not in the module, or the pattern fits more than one place."""


class Span(NamedTuple):
    """A piece of the source text as byte offsets, end exclusive."""

    start: int
    end: int


class Source:
    """The text of one module with its tree.

    Args:
        text: the module's source.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.tree = ast.parse(text)
        self._bytes = text.encode()
        self._lines = [0]
        for line in self._bytes.splitlines(keepends=True):
            self._lines.append(self._lines[-1] + len(line))

    def span(self, node: ast.stmt | ast.expr) -> Span:
        """Where a node stands."""
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return Span(
            self._lines[node.lineno - 1] + node.col_offset,
            self._lines[node.end_lineno - 1] + node.end_col_offset,
        )

    def cut(self, span: Span) -> str:
        """The text of a span."""
        return self._bytes[span.start : span.end].decode()

    def replaced(self, *changes: tuple[Span, str]) -> str:
        """The source with each span replaced by a text."""
        result = self._bytes
        for span, text in sorted(changes, reverse=True):
            result = result[: span.start] + text.encode() + result[span.end :]
        changed = result.decode()
        compile(changed, "weakened", "exec")
        return changed


def scope(tree: ast.Module, place: str) -> ast.AST:
    """The function, class or assignment named by a dotted place; the module for an empty one.

    Raises:
        GoneError: there is no such name.
    """
    node: ast.AST = tree
    for name in place.split(".") if place else []:
        for inner in _named(node):
            if name in inner[0]:
                node = inner[1]
                break
        else:
            raise GoneError(f"no {name!r} in {place!r}")
    return node


def _named(node: ast.AST) -> Iterator[tuple[list[str], ast.AST]]:
    """What is defined directly in a node, at whatever depth of `if`, `with` and `try`."""
    for inner in ast.iter_child_nodes(node):
        if isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield [inner.name], inner
        elif isinstance(inner, ast.Assign):
            yield [one.id for one in inner.targets if isinstance(one, ast.Name)], inner
        elif isinstance(inner, ast.AnnAssign) and isinstance(inner.target, ast.Name):
            yield [inner.target.id], inner
        elif isinstance(inner, ast.stmt | ast.ExceptHandler):
            yield from _named(inner)


def is_expression(text: str) -> bool:
    """Whether a piece of source is an expression."""
    try:
        ast.parse(text, mode="eval")
    except SyntaxError:
        return False
    return True


def find(
    source: Source, place: str, pattern: str, nth: int | None, *, statement: bool = False
) -> ast.stmt | ast.expr:
    """The statement or expression in a place that a pattern fits.

    Args:
        source: the module.
        place: as for `scope`.
        pattern: an expression or one statement.
        nth: which of several, from 1; None if there must be only one.
        statement: look for a statement, even if the pattern could be an expression.

    Raises:
        GoneError: it is not there, or there are several and `nth` is None.
    """
    wanted = _parse(pattern, statement or not is_expression(pattern))
    found: list[ast.stmt | ast.expr] = [
        node
        for node in _in_order(scope(source.tree, place))
        if isinstance(node, ast.stmt | ast.expr) and _fits(wanted, node)
    ]
    if nth is None and len(found) > 1:
        raise GoneError(f"{pattern!r} is in {place!r} {len(found)} times")
    if len(found) < (nth or 1):
        raise GoneError(f"no {pattern!r} in {place!r}")
    return found[(nth or 1) - 1]


def _in_order(node: ast.AST) -> Iterator[ast.AST]:
    yield node
    for inner in ast.iter_child_nodes(node):
        yield from _in_order(inner)


def _parse(pattern: str, statement: bool) -> ast.AST:
    if not statement:
        return ast.parse(pattern, mode="eval").body
    wrapped = "async def f():\n" + textwrap.indent(pattern, "    ")
    (function,) = ast.parse(wrapped).body
    assert isinstance(function, ast.AsyncFunctionDef)
    (only,) = function.body
    return only


_SKIPPED = {"ctx", "type_comment", "kind", "type_params"}


def _fits(pattern: object, node: object) -> bool:
    if _is_any(pattern):
        return isinstance(node, ast.expr | ast.Expr)
    if isinstance(pattern, ast.Call) and isinstance(node, ast.Call) and len(pattern.args) == 1:
        if _is_any(pattern.args[0]) and not pattern.keywords:
            return _fits(pattern.func, node.func)
    if isinstance(pattern, list) and isinstance(node, list):
        if len(pattern) == 1 and isinstance(pattern[0], ast.Expr) and _is_any(pattern[0].value):
            return True
        return len(pattern) == len(node) and all(map(_fits, pattern, node))
    if not isinstance(pattern, ast.AST):
        return type(pattern) is type(node) and pattern == node
    return type(pattern) is type(node) and all(
        _fits(value, getattr(node, name))
        for name, value in ast.iter_fields(pattern)
        if name not in _SKIPPED
    )


def _is_any(node: object) -> bool:
    return isinstance(node, ast.Constant) and node.value is Ellipsis
