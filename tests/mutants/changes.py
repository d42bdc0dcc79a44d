"""A source text in, its one-line mutants out: each changes one sign, comparison, bound, boolean, constant or call."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

COMPARISONS = {
    ast.Lt: ("<=", ">="), ast.LtE: ("<", ">"), ast.Gt: (">=", "<="), ast.GtE: (">", "<"),
    ast.Eq: ("!=",), ast.NotEq: ("==",), ast.Is: ("is not",), ast.IsNot: ("is",),
    ast.In: ("not in",), ast.NotIn: ("in",),
}  # fmt: skip
"""For each comparison the ones it is changed into: the bound moved, then the direction turned."""
SIGNS = {
    ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.FloorDiv: "*", ast.Mod: "*",
    ast.BitOr: "&", ast.BitAnd: "|",
}  # fmt: skip
"""For each operator the one it is changed into."""


@dataclass(frozen=True)
class Mutant:
    """One change of one line; columns count bytes, as `ast` does."""

    line: int
    """Line in the file, from 1."""
    start: int
    """Column where the replaced text begins."""
    end: int
    """Column behind the replaced text."""
    after: str
    """What stands there instead."""
    kind: str
    """Sign, comparison, boolean, constant or call."""

    def applied(self, source: bytes) -> bytes:
        """The whole source with the change made."""
        lines = source.splitlines(keepends=True)
        text = lines[self.line - 1]
        lines[self.line - 1] = text[: self.start] + self.after.encode() + text[self.end :]
        return b"".join(lines)


def mutants(source: bytes) -> list[Mutant]:
    """Every mutant of a module that still compiles, in the order of the file.

    Left as they are: annotations and other types (`int | None`), decorators, assertions (they tell the type checker
    what it cannot see), strings and what stands in them, sizes told by shifting (`1 << 20`), imports, sleeping between
    two looks, which only says how often one looks, `strict=` of a zip, which speaks only where the program is wrong,
    and what spans several lines.
    """
    lines = source.splitlines(keepends=True)
    found = []
    for mutant in sorted(set(_in(ast.parse(source), lines)), key=lambda m: (m.line, m.start, m.end, m.after)):
        try:
            compile(mutant.applied(source), "mutant", "exec", dont_inherit=True)
        except (SyntaxError, ValueError):
            continue
        found.append(mutant)
    return found


def _in(node: ast.AST, lines: list[bytes]) -> Iterator[Mutant]:
    for inner in _worth_changing(node):
        yield from _of(inner, lines)
        yield from _in(inner, lines)


def _worth_changing(node: ast.AST) -> Iterator[ast.AST]:
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "type_params", "decorator_list"):
            continue
        for each in value if isinstance(value, list) else [value]:
            if not isinstance(each, ast.AST) or isinstance(each, ast.Assert | ast.Import | ast.ImportFrom):
                continue
            if isinstance(each, ast.JoinedStr) or (isinstance(each, ast.BinOp) and isinstance(each.op, ast.LShift)):
                continue
            if isinstance(each, ast.BinOp) and "None" in (ast.unparse(each.left), ast.unparse(each.right)):
                continue
            if isinstance(each, ast.Expr) and ast.unparse(each.value).startswith(("time.sleep(", "sleep(")):
                continue
            if isinstance(each, ast.keyword) and each.arg == "strict" and ast.unparse(node).startswith("zip("):
                continue
            if isinstance(each, ast.If) and ast.unparse(each.test).endswith("TYPE_CHECKING"):
                continue
            yield each


def _of(node: ast.AST, lines: list[bytes]) -> Iterator[Mutant]:
    match node:
        case ast.Compare(left, ops, rights):
            for before, op, right in zip([left, *rights], ops, rights, strict=False):
                for after in COMPARISONS.get(type(op), ()):
                    yield from _between(before, right, after, "comparison", lines)
        case ast.BinOp(left, op, right) if type(op) in SIGNS:
            yield from _between(left, right, SIGNS[type(op)], "sign", lines)
        case ast.BoolOp(op, values):
            after = "or" if isinstance(op, ast.And) else "and"
            for before, value in pairwise(values):
                yield from _between(before, value, after, "boolean", lines)
        case ast.UnaryOp(ast.Not(), operand):
            yield from _whole(node, f"({_text(operand, lines)})", "boolean")
        case ast.UnaryOp(ast.USub(), operand):
            yield from _whole(node, f"+{_text(operand, lines)}", "sign")
        case ast.If(test) | ast.While(test) | ast.IfExp(test):
            if not isinstance(test, ast.Compare | ast.UnaryOp | ast.BoolOp):
                yield from _whole(test, f"(not ({_text(test, lines)}))", "boolean")
        case ast.Constant(bool() as value):
            yield from _whole(node, str(not value), "constant")
        case ast.Constant(int() | float() as value):
            yield from _whole(node, repr(_another(value)), "constant")
        case ast.Expr(ast.Call()):
            yield from _whole(node, "pass", "call")


def _another(value: float) -> float:
    """Another number: 0 and 1 and small whole ones one more, so that bounds move; others doubled."""
    return value + 1 if isinstance(value, int) and abs(value) <= 16 else 2 * value or 1.0


def _whole(node: ast.AST, after: str, kind: str) -> Iterator[Mutant]:
    if node.lineno == node.end_lineno and "\n" not in after:  # type: ignore[attr-defined]
        yield Mutant(node.lineno, node.col_offset, node.end_col_offset, after, kind)  # type: ignore[attr-defined]


def _between(before: ast.expr, behind: ast.expr, after: str, kind: str, lines: list[bytes]) -> Iterator[Mutant]:
    """A change of the operator between two operands; brackets around either stay where they are."""
    if before.end_lineno != behind.lineno or before.end_col_offset is None:
        return
    gap = lines[behind.lineno - 1][before.end_col_offset : behind.col_offset].decode()
    operator = gap.strip("() \t")
    if operator:
        start = before.end_col_offset + len(gap[: gap.index(operator)].encode())
        yield Mutant(behind.lineno, start, start + len(operator.encode()), after, kind)


def _text(node: ast.AST, lines: list[bytes]) -> str:
    if node.lineno != node.end_lineno:  # type: ignore[attr-defined]
        return "\n"
    return lines[node.lineno - 1][node.col_offset : node.end_col_offset].decode()  # type: ignore[attr-defined]
