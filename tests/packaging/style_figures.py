"""How the code stands against the goals of its style, as a table in Markdown.

    .venv/bin/python tests/packaging/style_figures.py

Lines are counted without blank ones. *Documented* counts modules, classes, functions and methods whose names
are public; a method may have its words where it was first defined, as `help` finds them, a property at its
getter, and those that Qt calls by name (`paintEvent`) need none. Qt-free lines are those of files that
import neither PySide6 nor pyqtgraph. Complexity is McCabe's, as ruff counts it.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "app" / "lagline"
Function = ast.FunctionDef | ast.AsyncFunctionDef
QT = ("PySide6", "pyqtgraph")


def trees(folder: Path) -> dict[Path, ast.Module]:
    """Every Python file below a folder, read."""
    return {path: ast.parse(path.read_text("utf-8")) for path in sorted(folder.rglob("*.py"))}


def lines_of(path: Path) -> int:
    return sum(bool(line.strip()) for line in path.read_text("utf-8").splitlines())


def imports_qt(tree: ast.Module) -> bool:
    names = [
        name
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in (
            [alias.name for alias in node.names] if isinstance(node, ast.Import) else [node.module or ""]
        )
    ]
    return any(name.partition(".")[0] in QT for name in names)


def public(body: list[ast.stmt], owner: str = "") -> Iterator[tuple[str, Function | ast.ClassDef]]:
    """Public classes, functions and methods, each with the class it is in; no function within a function."""
    for node in body:
        if not isinstance(node, Function | ast.ClassDef) or node.name.startswith("_"):
            continue
        if not any(isinstance(mark, ast.Attribute) and mark.attr == "setter" for mark in node.decorator_list):
            yield owner, node  # the words of a property stand at its getter
        if isinstance(node, ast.ClassDef):
            yield from public(node.body, node.name)


def classes(source: dict[Path, ast.Module]) -> dict[str, ast.ClassDef]:
    return {
        node.name: node
        for tree in source.values()
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
    }


def has_words(name: str, owner: str, known: dict[str, ast.ClassDef]) -> bool:
    """Whether a method has a docstring in a class or in one of those it comes from, where `help` finds it."""
    if owner not in known:
        return False
    for node in known[owner].body:
        if isinstance(node, Function) and node.name == name and ast.get_docstring(node):
            return True
    bases = [base.id for base in known[owner].bases if isinstance(base, ast.Name)]
    return any(has_words(name, base, known) for base in bases)


def without_words(source: dict[Path, ast.Module]) -> tuple[list[str], int]:
    """Public things that nothing is said of, and how many there are in all."""
    known, lacking, count = classes(trees(PACKAGE)), [], 0
    for path, tree in source.items():
        name = path.relative_to(PACKAGE).as_posix()
        count += 1
        if not ast.get_docstring(tree):
            lacking.append(name)
        for owner, node in public(tree.body):
            if name.startswith("desk/") and isinstance(node, Function) and node.name != node.name.lower():
                continue  # Qt's
            count += 1
            if not ast.get_docstring(node) and not has_words(node.name, owner, known):
                lacking.append(f"{name}: {owner}.{node.name}" if owner else f"{name}: {node.name}")
    return lacking, count


def functions(tree: ast.Module) -> Iterator[Function]:
    return (node for node in ast.walk(tree) if isinstance(node, Function))


def complexities() -> list[int]:
    """McCabe complexity of each function above 1."""
    words = ["check", "--isolated", "--select", "C901", "--config", "lint.mccabe.max-complexity=1"]
    words += ["--output-format", "concise", str(PACKAGE)]
    done = subprocess.run([sys.executable, "-m", "ruff", *words], capture_output=True, text=True, check=False)
    found = [int(number) for number in re.findall(r"too complex \((\d+) > 1\)", done.stdout)]
    if not found:
        raise SystemExit(f"style_figures.py: ruff counted nothing\n{done.stdout}{done.stderr}")
    return found


def table() -> list[tuple[str, str, str]]:
    """Rows of what is counted, its figure, and the goal."""
    source, tests = trees(PACKAGE), trees(ROOT / "tests")
    lacking, things = without_words(source)
    total = sum(map(lines_of, source))
    free = sum(lines_of(path) for path, tree in source.items() if not imports_qt(tree))
    lengths = [
        (node.end_lineno or node.lineno) - node.lineno + 1
        for tree in source.values()
        for node in functions(tree)
    ]
    methods = {
        node.name: sum(isinstance(part, Function) for part in node.body)
        for tree in source.values()
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
    }
    largest = max(methods, key=lambda name: methods[name])
    complex_ones = complexities()
    return [
        ("source lines", f"{total:,}", ""),
        ("public things documented", f"{100 * (1 - len(lacking) / things):.0f} % of {things:,}", "90 %"),
        (
            "lines of tests to a line of source",
            f"{sum(map(lines_of, tests)) / total:.2f}",
            "1.00",
        ),
        ("lines in files without Qt", f"{100 * free / total:.0f} %", "65 %"),
        ("longest function", f"{max(lengths)} lines", "60"),
        ("functions above 60 lines", f"{sum(length > 60 for length in lengths)} of {len(lengths):,}", "0"),
        ("highest complexity", f"{max(complex_ones)}", "14"),
        ("most methods in a class", f"{methods[largest]} ({largest})", "30"),
    ]


def main() -> None:
    """Print the table."""
    print("| what | now | goal |\n|---|---|---|")
    for row in table():
        print(f"| {' | '.join(row)} |")


if __name__ == "__main__":
    main()
