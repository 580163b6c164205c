"""The firmware's text as it goes to MicroPython's compiler: the same program, in less of a board's memory.

texts = fold({"becklight/engine.py": text, ...})        # every module of the package, by its path

MicroPython folds a constant only in the file that names it. So here each named whole number is put where it
is used. What nobody on the board uses then is left out: the names of numbers, tables of words that only the
desktop reads, imports for annotations. A name in memory costs its letters and an entry in each file that
knows it; a number in its place costs nothing. Lines keep their numbers.
"""

import ast
from collections.abc import Iterator, Mapping

# What the value of a named number may be made of, besides numbers and other names.
ARITHMETIC = (
    ast.Expression, ast.BinOp, ast.UnaryOp, ast.operator, ast.unaryop, ast.Constant, ast.Load,
)  # fmt: skip


class Module:
    """One file: its tree, what it imports from the package, which whole numbers it names.

    Parameters
    ----------
    path : str
        As in "becklight/device/drive.py".
    text : str
        The file.
    """

    def __init__(self, path: str, text: str) -> None:
        self.text = text
        self.tree = ast.parse(text, path)
        self.name = path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
        self._package = self.name if path.endswith("/__init__.py") else self.name.rpartition(".")[0]
        self.imports = [
            node for node in ast.walk(self.tree) if isinstance(node, ast.ImportFrom) and node.level > 0
        ]
        self.comes_from = {
            alias.asname or alias.name: (self._origin(node), alias.name)
            for node in self.imports
            for alias in node.names
        }
        self.written = list(_outside_annotations(self.tree))
        self.numbers: dict[str, int] = {}  # named here
        self._once = self._bound_once()

    def _origin(self, node: ast.ImportFrom) -> str:
        base = self._package.split(".")[: len(self._package.split(".")) - node.level + 1]
        return ".".join([*base, *([node.module] if node.module else [])])

    def _bound_once(self) -> set[str]:
        """Names that mean one thing all over the file."""
        bound = [node.id for node in ast.walk(self.tree) if isinstance(node, ast.Name) and _is_bound(node)]
        bound += [node.arg for node in ast.walk(self.tree) if isinstance(node, ast.arg)]
        bound += self.comes_from
        return {name for name in bound if bound.count(name) == 1}

    def definitions(self) -> Iterator[tuple[ast.stmt, str, ast.expr]]:
        """Every `NAME = value` of the file itself."""
        for node in self.tree.body:
            if isinstance(node, ast.Assign) and len(node.targets) == 1:
                target = node.targets[0]
                if isinstance(target, ast.Name) and target.id.isupper() and target.id in self._once:
                    yield node, target.id, node.value

    def number(self, node: ast.AST, modules: Mapping[str, "Module"]) -> int | None:
        """The number that a name or `module.NAME` stands for; None if it is none, or not known."""
        if isinstance(node, ast.Name):
            return self.named(node.id, modules) if node.id in self._once else None
        if isinstance(node, ast.Attribute):
            other = self.module_called(node.value)
            return (
                modules[other].named(node.attr, modules) if other is not None and other in modules else None
            )
        return None

    def named(self, name: str, modules: Mapping[str, "Module"]) -> int | None:
        """The number that this file, or the one it has it from, names so."""
        if name in self.comes_from:
            origin, name = self.comes_from[name]
            return modules[origin].named(name, modules) if origin in modules else None
        return self.numbers.get(name)

    def ambiguous(self, modules: Mapping[str, "Module"]) -> list[str]:
        """Numbers had from other files under a name that means something else here too."""
        return [name for name in self.comes_from if name not in self._once and self.named(name, modules)]

    def module_called(self, node: ast.AST) -> str | None:
        """The module of the package that a name stands for; None if it is something else."""
        if isinstance(node, ast.Name) and node.id in self._once and node.id in self.comes_from:
            return ".".join(self.comes_from[node.id])
        return None

    def worth(self, value: ast.expr, modules: Mapping[str, "Module"]) -> int | None:
        """What a definition comes to, as far as the numbers are known."""
        if isinstance(value, ast.Call) and isinstance(value.func, ast.Name) and value.func.id == "const":
            value = value.args[0]
        copy = ast.Expression(ast.parse(ast.unparse(value), mode="eval").body)
        _Numbers(self, modules).visit(copy)
        if not all(isinstance(node, ARITHMETIC) for node in ast.walk(copy)):
            return None
        found = eval(compile(ast.fix_missing_locations(copy), self.name, "eval"), {})
        return found if type(found) is int else None


class _Numbers(ast.NodeTransformer):
    """Puts numbers in place of names."""

    def __init__(self, module: Module, modules: Mapping[str, Module]) -> None:
        self._module = module
        self._modules = modules

    def visit(self, node: ast.AST) -> ast.AST:
        number = self._module.number(node, self._modules)
        return self.generic_visit(node) if number is None else ast.Constant(number)


def fold(texts: Mapping[str, str]) -> dict[str, str]:
    """Lay numbers in place of their names, all over a package.

    Parameters
    ----------
    texts : mapping of str to str
        Every module of the package, by its path.

    Returns
    -------
    dict of str to str
        The same.

    Examples
    --------
    >>> texts = fold({"p/a.py": "TWO = const(2)\\n", "p/b.py": "from .a import TWO\\nprint(TWO + 1)\\n"})
    >>> texts["p/b.py"]
    '\\nprint(2 + 1)\\n'
    """
    found = [Module(path, text) for path, text in texts.items()]
    modules = {module.name: module for module in found}
    _find_numbers(modules)
    for path, module in zip(texts, found, strict=True):
        for name in module.ambiguous(modules):
            raise ValueError(f"{path}: {name} stands for more than one thing, and cannot be folded")
    asked = {place for module in found for place in module.comes_from.values()}
    asked |= {
        ("", node.attr) for module in found for node in module.written if isinstance(node, ast.Attribute)
    }
    return {path: _rewrite(module, modules, asked) for path, module in zip(texts, found, strict=True)}


def _find_numbers(modules: Mapping[str, Module]) -> None:
    """A number may be made of another file's: until nothing new is found."""
    known = -1
    while known < sum(len(module.numbers) for module in modules.values()):
        known = sum(len(module.numbers) for module in modules.values())
        for module in modules.values():
            for _, name, value in module.definitions():
                number = module.worth(value, modules)
                if number is not None:
                    module.numbers[name] = number


def _rewrite(module: Module, modules: Mapping[str, Module], asked: set[tuple[str, str]]) -> str:
    """One file's text with numbers in place, and without what is not needed then."""
    edits: list[tuple[ast.AST, str]] = []
    inside: set[ast.AST] = set()  # of what is replaced as a whole

    def replace(node: ast.AST, text: str) -> None:
        edits.append((node, text))
        inside.update(ast.walk(node))

    for node, name, _ in module.definitions():
        if name in module.numbers:
            replace(node, "")
    used = set()
    for part in module.written:
        if part in inside:
            continue
        number = None if _is_bound(part) else module.number(part, modules)
        if number is not None:
            replace(part, str(number) if number >= 0 else f"({number})")
        elif isinstance(part, ast.Name) and not _is_bound(part):
            used.add(part.id)
    for node, name, value in module.definitions():
        if node not in inside and _is_table(value) and not _is_needed(name, module, used, asked):
            edits.append((node, ""))
    for node in module.imports:
        kept = [
            alias
            for alias in node.names
            if (name := alias.asname or alias.name) in used
            or (module.named(name, modules) is None and _is_needed(name, module, used, asked))
        ]
        if len(kept) < len(node.names):
            edits.append((node, _import(node, kept)))
    return _edited(module.text, edits)


def _is_needed(name: str, module: Module, used: set[str], asked: set[tuple[str, str]]) -> bool:
    """Whether this file or another one asks for a name of this file."""
    return name in used or (module.name, name) in asked or ("", name) in asked


def _is_table(value: ast.expr) -> bool:
    return isinstance(value, ast.Tuple) and all(isinstance(part, ast.Constant) for part in value.elts)


def _import(node: ast.ImportFrom, kept: list[ast.alias]) -> str:
    """What is left of an import, on one line; nothing at all only at the file's own level."""
    if kept:
        return ast.unparse(ast.ImportFrom(node.module, kept, node.level))
    return "pass" if node.col_offset else ""


def _outside_annotations(node: ast.AST) -> Iterator[ast.AST]:
    """A node and all in it, from the outermost on, but for annotations."""
    yield node
    for field, value in ast.iter_fields(node):
        if field not in ("annotation", "returns"):
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    yield from _outside_annotations(child)


def _is_bound(node: ast.AST) -> bool:
    return isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load)


def _edited(text: str, edits: list[tuple[ast.AST, str]]) -> str:
    """The text with nodes exchanged; one of several lines leaves empty ones, so lines keep their numbers."""
    lines = [line.encode() for line in text.split("\n")]
    spans = [(node.lineno, node.col_offset, node.end_lineno, node.end_col_offset, new) for node, new in edits]  # type: ignore[attr-defined]
    for first, start, last, end, new in sorted(spans, reverse=True):
        tail = lines[last - 1][end:]
        lines[first - 1 : last] = [lines[first - 1][:start] + new.encode() + tail, *[b""] * (last - first)]
    return b"\n".join(lines).decode()
