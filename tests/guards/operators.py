"""Small deliberate faults: every one that can be made in a module."""

import ast
from collections.abc import Iterator
from typing import NamedTuple

from tests.guards.syntax import Source


class Mutation(NamedTuple):
    """One fault in one line."""

    line: int
    old: str
    new: str
    text: str
    """The whole module with the fault."""

    def __str__(self) -> str:
        return f"{self.line}: {_short(self.old)} → {_short(self.new)}"


class Fault(NamedTuple):
    """Where a fault can be made, before the text of the module is."""

    node: ast.stmt | ast.expr
    new: str


# Turned round, not moved by one step: between measured values `<` and `<=` are the same.
COMPARES: dict[type[ast.cmpop], str] = {
    ast.Lt: ">=",
    ast.LtE: ">",
    ast.Gt: "<=",
    ast.GtE: "<",
    ast.Eq: "!=",
    ast.NotEq: "==",
    ast.Is: "is not",
    ast.IsNot: "is",
    ast.In: "not in",
    ast.NotIn: "in",
}
SUMS: dict[type[ast.operator], str] = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*"}
CALLS = {"min": "max", "max": "min", "all": "any", "any": "all"}


def faults(source: Source) -> list[Fault]:
    """All faults that can be made, in the order of the source."""
    found = [
        fault
        for node in _worth(source.tree)
        for fault in _of(source, node)
        if source.cut(source.span(fault.node)) != fault.new
    ]
    return sorted(found, key=lambda one: (one.node.lineno, one.node.col_offset, one.new))


def make(source: Source, fault: Fault) -> Mutation:
    """The module with one fault."""
    span = source.span(fault.node)
    return Mutation(
        fault.node.lineno, source.cut(span), fault.new, source.replaced((span, fault.new))
    )


def _worth(node: ast.AST) -> Iterator[ast.stmt | ast.expr]:
    """Nodes that run: no annotations, no decorators, no texts, nothing for type checkers only."""
    if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
        return
    if isinstance(node, ast.Assert | ast.JoinedStr):
        return
    if isinstance(node, ast.stmt | ast.expr):
        yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "bases", "args"):
            if not (name == "args" and isinstance(node, ast.Call)):
                continue
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, ast.AST):
                yield from _worth(inner)


def _of(source: Source, node: ast.stmt | ast.expr) -> Iterator[Fault]:
    def text(inner: ast.AST) -> str:
        assert isinstance(inner, ast.stmt | ast.expr)
        return source.cut(source.span(inner))

    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        new = COMPARES[type(node.ops[0])]
        yield Fault(node, f"({text(node.left)} {new} {text(node.comparators[0])})")
    elif isinstance(node, ast.BoolOp):
        word = " or " if isinstance(node.op, ast.And) else " and "
        yield Fault(node, "(" + word.join(f"({text(one)})" for one in node.values) + ")")
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield Fault(node, f"({text(node.operand)})")
    elif isinstance(node, ast.BinOp) and type(node.op) in SUMS and not _is_text(node):
        yield Fault(node, f"(({text(node.left)}) {SUMS[type(node.op)]} ({text(node.right)}))")
    elif isinstance(node, ast.Constant):
        if isinstance(node.value, bool):
            yield Fault(node, str(not node.value))
        elif isinstance(node.value, int | float):
            yield Fault(node, "1" if node.value == 0 else f"({text(node)} * 2)")
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        if node.func.id == "abs":
            yield Fault(node, f"({text(node.args[0])})")
        elif node.func.id in CALLS:
            yield Fault(node, CALLS[node.func.id] + text(node)[len(node.func.id) :])
    elif isinstance(node, ast.If | ast.While | ast.IfExp):
        if not isinstance(node.test, ast.Compare | ast.BoolOp | ast.UnaryOp | ast.Constant):
            yield Fault(node.test, f"(not ({text(node.test)}))")
    elif isinstance(node, ast.Expr) and not isinstance(node.value, ast.Constant):
        is_task = isinstance(node.value, ast.Yield | ast.YieldFrom)
        if not is_task:
            yield Fault(node, "pass")
    elif isinstance(node, ast.Raise):
        yield Fault(node, "pass")


def _is_text(node: ast.BinOp) -> bool:
    return any(
        isinstance(side, ast.JoinedStr)
        or (isinstance(side, ast.Constant) and isinstance(side.value, str))
        for side in (node.left, node.right)
    )


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 70 else line[:67] + "…"
