"""Constraints between keys of a study file: one plain comparison each, never run as code.

``constructs.nail-10.nail.diameter_mm + 1 <= femur.canal_diameter_mm``: dotted keys, numbers,
``+ - * /``, parentheses and one of ``< <= == != >= >``. Since a key may hold a hyphen, a minus sign
between keys stands in spaces.
"""

from __future__ import annotations

import ast
import operator
import re
from collections.abc import Mapping
from dataclasses import dataclass

from geometries.errors import StudyError

_KEY = re.compile(r"(?<![\w.])[A-Za-z_]\w*(?:\.[\w-]+)+")
_SUMS = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
}
_SIGNS = {ast.UAdd: 1.0, ast.USub: -1.0}
_ORDERS = {
    ast.Lt: operator.lt, ast.LtE: operator.le, ast.Eq: operator.eq, ast.NotEq: operator.ne,
    ast.GtE: operator.ge, ast.Gt: operator.gt,
}  # fmt: skip
ALLOWED = "allowed is one comparison of dotted keys and numbers with + - * / and parentheses"


@dataclass(frozen=True)
class Constraint:
    """A comparison that every point of a design must pass, its keys, and its syntax once checked."""

    text: str
    keys: tuple[str, ...]
    tree: ast.Compare

    def holds(self, values: Mapping[str, float]) -> bool:
        """Whether the values of its keys pass it.

        Raises
        ------
        StudyError
            If it divides by zero.
        """
        order = _ORDERS[type(self.tree.ops[0])]
        try:
            left, right = (_number(n, values) for n in (self.tree.left, self.tree.comparators[0]))
        except ZeroDivisionError:
            raise StudyError(
                f"design.constraints: {self.text!r} divides by 0 at a point; write it as a product"
            ) from None
        return bool(order(left, right))


def parse_constraint(text: str) -> Constraint:
    """Read a constraint.

    Raises
    ------
    StudyError
        If it is anything but one plain comparison.
    """
    quoted = _KEY.sub(lambda found: repr(found[0]), text.strip())
    try:
        tree = ast.parse(quoted, mode="eval").body
    except (SyntaxError, ValueError, MemoryError, RecursionError):
        raise StudyError(f"{ALLOWED}; correct it") from None
    if not isinstance(tree, ast.Compare) or len(tree.ops) != 1 or type(tree.ops[0]) not in _ORDERS:
        raise StudyError(f"{ALLOWED}, not {_said(tree)}; correct it")
    for side in (tree.left, tree.comparators[0]):
        _check(side)
    keys = [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)]
    return Constraint(text, tuple(dict.fromkeys(keys)), tree)


def _check(node: ast.expr) -> None:
    """Refuse whatever is not arithmetic of keys and numbers."""
    if isinstance(node, ast.BinOp) and type(node.op) in _SUMS:
        _check(node.left)
        _check(node.right)
    elif isinstance(node, ast.UnaryOp) and type(node.op) in _SIGNS:
        _check(node.operand)
    elif not isinstance(node, ast.Constant) or type(node.value) not in (int, float, str):
        raise StudyError(f"{ALLOWED}, not {_said(node)}; correct it")


def _said(node: ast.expr) -> str:
    text = ast.unparse(node).replace("'", "")
    return text if len(text) <= 40 else text[:37] + "..."


def _number(node: ast.expr, values: Mapping[str, float]) -> float:
    """Value of a checked node."""
    match node:
        case ast.BinOp(left, sign, right):
            return float(_SUMS[type(sign)](_number(left, values), _number(right, values)))
        case ast.UnaryOp(sign, operand):
            return _SIGNS[type(sign)] * _number(operand, values)
        case ast.Constant(str(key)):
            return values[key]
        case _:
            return float(ast.literal_eval(node))
