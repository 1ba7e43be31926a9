"""Small changes of meaning to a module's source, by its syntax tree."""

from __future__ import annotations

import ast
from dataclasses import dataclass

COMPARED = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
TURNED = {ast.Lt: ast.Gt, ast.LtE: ast.GtE, ast.Gt: ast.Lt, ast.GtE: ast.LtE}
COMPUTED = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Div, ast.Mod: ast.Mult, ast.MatMult: ast.Mult, ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}  # fmt: skip
SWAPPED = {"min": "max", "max": "min", "any": "all", "all": "any", "argmin": "argmax",
           "argmax": "argmin", "median": "mean", "mean": "median"}  # fmt: skip


Site = tuple[int, int]  # number of an expression, and which of its changes


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: where, what, and the whole source with it."""

    path: str
    line: int
    was: str
    became: str
    source: str
    site: Site = (-1, -1)

    @property
    def key(self) -> str:
        """Its name, as long as its module is not changed."""
        return f"{self.path}:{self.site[0]}:{self.site[1]}"


def sites(source: str) -> list[Site]:
    """Every place of a module that can be changed, and how."""
    nodes = enumerate(_nodes(ast.parse(source)))
    return [(number, change) for number, node in nodes for change in range(_changes(node))]


def mutant(path: str, source: str, site: Site) -> Mutant:
    """The module with one of its changes.

    Parameters
    ----------
    path : str
        Kept with it.
    source : str
        The module.
    site : (number, change)
        From `sites`.
    """
    whole = ast.parse(source)
    target = _nodes(whole)[site[0]]
    was = ast.unparse(target)
    _change(target, site[1])
    text = ast.unparse(ast.fix_missing_locations(whole))
    return Mutant(path, target.lineno, was, ast.unparse(target), text, site)


def _nodes(tree: ast.Module) -> list[ast.expr]:
    """Expressions that mean something when the module runs: no annotations, no text, no imports."""
    found: list[ast.expr] = []

    def walk(node: ast.AST) -> None:
        for name, field in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list", "type_params", "bases"):
                continue
            for child in field if isinstance(field, list) else [field]:
                if isinstance(child, ast.AST) and not _meaningless(child):
                    if isinstance(child, ast.expr):
                        found.append(child)
                    walk(child)

    walk(tree)
    return [node for node in found if _changes(node)]


def _meaningless(node: ast.AST) -> bool:
    docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    names = isinstance(node, ast.Assign) and any(
        isinstance(t, ast.Name) and t.id in ("__all__", "__slots__") for t in node.targets
    )
    alias = (
        isinstance(node, ast.Subscript)
        and isinstance(node.value, ast.Name)
        and (
            node.value.id in ("Literal", "tuple", "dict", "list", "Callable", "Sequence", "Mapping")
        )
    )
    return docstring or names or alias


def _changes(node: ast.expr) -> int:
    """How many changes a node allows."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        return 2 if type(node.ops[0]) in TURNED else 1
    if isinstance(node, ast.BinOp):
        return int(type(node.op) in COMPUTED and not _of_text(node))
    if isinstance(node, ast.BoolOp):
        return 1
    if isinstance(node, ast.UnaryOp):
        return int(isinstance(node.op, ast.USub | ast.Not))
    if isinstance(node, ast.Constant):
        return int(isinstance(node.value, int | float) or node.value is True)
    if isinstance(node, ast.IfExp):
        return 1
    return int(isinstance(node, ast.Call) and _called(node) in SWAPPED)


def _of_text(node: ast.BinOp) -> bool:
    parts = (node.left, node.right)
    return any(
        isinstance(each, ast.JoinedStr)
        or (isinstance(each, ast.Constant) and isinstance(each.value, str))
        for each in parts
    )


def _called(node: ast.Call) -> str:
    if isinstance(node.func, ast.Name):
        return node.func.id
    return node.func.attr if isinstance(node.func, ast.Attribute) else ""


def _change(node: ast.expr, which: int) -> None:
    """Change a node in place."""
    if isinstance(node, ast.Compare):
        table = TURNED if which else COMPARED
        node.ops[0] = table[type(node.ops[0])]()
    elif isinstance(node, ast.BinOp):
        node.op = COMPUTED[type(node.op)]()
    elif isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif isinstance(node, ast.UnaryOp):
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
        if isinstance(node.op, ast.Not):
            node.operand = ast.UnaryOp(ast.Not(), node.operand)
    elif isinstance(node, ast.Constant):
        node.value = _other(node.value)
    elif isinstance(node, ast.IfExp):
        node.body, node.orelse = node.orelse, node.body
    elif isinstance(node, ast.Call):
        name = SWAPPED[_called(node)]
        if isinstance(node.func, ast.Name):
            node.func.id = name
        elif isinstance(node.func, ast.Attribute):
            node.func.attr = name


def _other(value: object) -> object:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    assert isinstance(value, float)
    return value * 1.5 if value else 1.0
