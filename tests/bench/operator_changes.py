"""Operator changes of a module: one operator replaced by another at a time."""

import ast
import copy
import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

OTHER_OPERATORS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Div,),
    ast.Div: (ast.Mult,),
    ast.Lt: (ast.GtE, ast.LtE),
    ast.LtE: (ast.Gt, ast.Lt),
    ast.Gt: (ast.LtE, ast.GtE),
    ast.GtE: (ast.Lt, ast.Gt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
    ast.BitAnd: (ast.BitOr,),
    ast.BitOr: (ast.BitAnd,),
}


@dataclass(frozen=True, slots=True)
class OperatorChange:
    """One change: the module from the root, the node's number, and which variant."""

    path: Path
    node: int
    variant: int

    @property
    def key(self) -> str:
        return f"{self.path}:{self.node}:{self.variant}"

    def apply(self, root: Path) -> str:
        """Return the source of the module below `root` with the operator changed.

        Everything but the changed expression stays to the letter.
        """
        source = (root / self.path).read_bytes()
        target = _list_nodes(ast.parse(source))[self.node]
        assert isinstance(target, ast.expr)  # only these have operators
        changed = ast.unparse(list(_change_node(target))[self.variant])
        lines = source.splitlines(keepends=True)
        start = sum(len(line) for line in lines[: target.lineno - 1])
        start += target.col_offset
        end = sum(len(line) for line in lines[: (target.end_lineno or 0) - 1])
        end += target.end_col_offset or 0
        out = source[:start] + f"({changed})".encode() + source[end:]
        return out.decode()

    def describe(self, root: Path) -> str:
        """Return the change as a unified diff without context."""
        before = (root / self.path).read_text(encoding="utf-8").splitlines()
        after = self.apply(root).splitlines()
        name = str(self.path)
        diff = difflib.unified_diff(before, after, name, name, n=0, lineterm="")
        return "\n".join(list(diff)[2:])

    def find_function(self, root: Path) -> str | None:
        """Return the outermost function (`name` or `Class.name`) that is changed.

        None where the module or a class body itself is.
        """
        tree = ast.parse((root / self.path).read_bytes())
        target = _list_nodes(tree)[self.node]
        functions = [
            (prefix + each.name, each)
            for prefix, body in [("", tree.body), *_list_classes(tree)]
            for each in body
            if isinstance(each, ast.FunctionDef)
        ]
        for name, function in functions:
            if any(node is target for node in ast.walk(function)):
                return name
        return None


def list_changes(root: Path, path: Path) -> Iterator[OperatorChange]:
    """List every operator change of one module, its path counted from `root`."""
    tree = ast.parse((root / path).read_bytes())
    for number, node in enumerate(_list_nodes(tree)):
        for variant, _ in enumerate(_change_node(node)):
            yield OperatorChange(path, number, variant)


def _list_classes(tree: ast.Module) -> list[tuple[str, list[ast.stmt]]]:
    """List the classes of a module: the prefix of their functions, and the body."""
    classes = [each for each in tree.body if isinstance(each, ast.ClassDef)]
    return [(f"{each.name}.", each.body) for each in classes]


def _list_nodes(tree: ast.AST) -> list[ast.AST]:
    """List the nodes in a fixed order, those of types left out."""
    types = _list_types(tree)
    return [node for node in ast.walk(tree) if id(node) not in types]


def _list_types(tree: ast.AST) -> set[int]:
    """Return the ids of nodes inside types: `int | None` is no arithmetic."""
    # The values given to names in camel case, as in `Readings = tuple[...]`.
    aliases = [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and node.targets[0].id[:1].isupper()
        and not node.targets[0].id.isupper()
    ]
    types: list[ast.AST | None] = [*aliases]
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "isinstance":
            types.append(node.args[1])
        types += [getattr(node, "annotation", None), getattr(node, "returns", None)]
    return {id(each) for one in types if one is not None for each in ast.walk(one)}


def _change_node(node: ast.AST) -> Iterator[ast.AST]:
    """Yield copies of a node with one operator changed."""
    if isinstance(node, ast.BinOp | ast.BoolOp):
        for other in OTHER_OPERATORS.get(type(node.op), ()):
            yield _copy_with(node, op=other())
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        for other in OTHER_OPERATORS.get(type(node.ops[0]), ()):
            yield _copy_with(node, ops=[other()])
    elif isinstance(node, ast.UnaryOp) and isinstance(
        node.op, ast.USub | ast.Not | ast.Invert
    ):
        yield copy.deepcopy(node.operand)


def _copy_with(node: ast.AST, **members: object) -> ast.AST:
    changed = copy.deepcopy(node)
    for name, value in members.items():
        setattr(changed, name, value)
    return changed
