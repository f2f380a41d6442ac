"""From the one function of a generated text to a class, as a translation into machine code wants.

The text is a function `build` whose local names are the live state and whose inner functions change
it. Interpreted that is the quickest; translated, an attribute of an object stands at a fixed place
and a method is called directly. So the state becomes attributes and the inner functions methods;
what they do stays as it is written.
"""

import ast
from collections.abc import Iterable

Names = set[str]
SELF = ast.arg("self")
NOTHING = ast.Constant(None)


def as_class(function: str, name: str) -> str:
    """Return a class that is built with the parameters of a function and does what it does."""
    tree = ast.parse(function)
    build = tree.body[0]
    if not isinstance(build, ast.FunctionDef):
        raise TypeError(type(build).__name__)  # our own text
    inner = [one for one in build.body if isinstance(one, ast.FunctionDef)]
    rest = [one for one in build.body if not isinstance(one, ast.FunctionDef)]
    shared = _assigned(rest) | {one.name for one in inner}
    given = [one.arg for one in build.args.args]
    kept = ast.parse("\n".join(f"self.{name} = {name}" for name in given)).body
    body = [*kept, *[_Shared(shared).visit(one) for one in rest]]
    shared |= set(given)
    start = ast.FunctionDef("__init__", _with_self(build.args), body, [], NOTHING)
    methods = [_method(one, shared) for one in inner]
    made = ast.ClassDef(name, [], [], [start, *methods], [])
    return ast.unparse(ast.fix_missing_locations(made)) + "\n"


def _method(function: ast.FunctionDef, shared: Names) -> ast.FunctionDef:
    """Return an inner function as a method; its own local names stay local."""
    outer = {
        name for one in ast.walk(function) if isinstance(one, ast.Nonlocal) for name in one.names
    }
    parameters = {one.arg for one in function.args.args}
    own = (_assigned(function.body) - outer) | parameters
    change = _Shared(shared - own)
    body = [change.visit(one) for one in function.body if not isinstance(one, ast.Nonlocal)]
    function.body = body or [ast.Pass()]
    function.args = _with_self(function.args)
    return function


def _assigned(statements: Iterable[ast.stmt]) -> Names:
    """Return the names some statements give a value."""
    return {
        node.id
        for statement in statements
        for node in ast.walk(statement)
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
    }


def _with_self(arguments: ast.arguments) -> ast.arguments:
    arguments.args.insert(0, SELF)
    return arguments


class _Shared(ast.NodeTransformer):
    """Turns shared names into attributes."""

    def __init__(self, names: Names) -> None:
        self._names = names

    def visit_Name(self, node: ast.Name) -> ast.expr:
        if node.id not in self._names:
            return node
        return ast.Attribute(ast.Name("self", ast.Load()), node.id, node.ctx)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AnnAssign:
        self.generic_visit(node)
        node.simple = int(isinstance(node.target, ast.Name))
        return node

    def visit_Nonlocal(self, _node: ast.Nonlocal) -> None:
        return None
