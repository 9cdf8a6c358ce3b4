"""The source as syntax trees: modules, what they import, and where in the file."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import listen

PACKAGE = Path(listen.__file__).resolve().parent
ROOT = PACKAGE.parent


@dataclass(frozen=True)
class Module:
    """One source file: dotted name, path, tree; `is_package` for an `__init__.py`."""

    name: str
    path: Path
    tree: ast.Module
    is_package: bool


@dataclass(frozen=True)
class Import:
    """One imported dotted name. `runs_at_import` is False inside functions and under TYPE_CHECKING."""

    name: str
    line: int
    runs_at_import: bool


def _is_type_checking(test: ast.expr) -> bool:
    return (isinstance(test, ast.Name) and test.id == "TYPE_CHECKING") or (
        isinstance(test, ast.Attribute) and test.attr == "TYPE_CHECKING"
    )


def modules(folder: Path) -> dict[str, Module]:
    """All modules of a package folder by dotted name."""
    found = {}
    for path in sorted(folder.rglob("*.py")):
        relative = path.relative_to(folder.parent)
        if any(part.startswith(("_shipped", "__pycache__")) for part in relative.parts):
            continue
        is_package = path.name == "__init__.py"
        parts = relative.parent.parts if is_package else relative.with_suffix("").parts
        name = ".".join(parts)
        found[name] = Module(name, path, ast.parse(path.read_text(encoding="utf-8"), str(path)), is_package)
    return found


@cache
def listen_modules() -> dict[str, Module]:
    return modules(PACKAGE)


def imports(module: Module) -> list[Import]:
    """Every import of a module, wherever it stands; relative ones resolved, `from a import b` as `a.b`."""
    found: list[Import] = []

    def visit(node: ast.AST, runs: bool) -> None:
        if isinstance(node, ast.Import):
            found.extend(Import(alias.name, node.lineno, runs) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = module.name.split(".")
                parts = parts[: len(parts) - node.level + (1 if module.is_package else 0)]
                base = ".".join([*parts, base] if base else parts)
            found.extend(Import(f"{base}.{alias.name}", node.lineno, runs) for alias in node.names)
        inside_function = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        if isinstance(node, ast.If) and _is_type_checking(node.test):
            for child in node.body:
                visit(child, False)
            for child in node.orelse:
                visit(child, runs)
            return
        for child in ast.iter_child_nodes(node):
            visit(child, runs and not inside_function)

    visit(module.tree, True)
    return found


def module_of(name: str, known: dict[str, Module]) -> str | None:
    """The module that an imported dotted name lies in (a submodule before an attribute)."""
    while name and name not in known:
        name = name.rpartition(".")[0]
    return name or None
