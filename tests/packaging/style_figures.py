"""How the code stands against the goals of its style, as a table in Markdown.

    .venv/bin/python tests/packaging/style_figures.py

Lines are counted without blank ones. *Documented* counts modules, classes, functions and methods whose names
are public; methods that Qt calls by name (`paintEvent`) need no words. Qt-free lines are those of files that
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


def public(body: list[ast.stmt], *, is_desk: bool) -> Iterator[Function | ast.ClassDef]:
    """Public classes, functions and methods, in classes too; no function within a function."""
    for node in body:
        if not isinstance(node, Function | ast.ClassDef) or node.name.startswith("_"):
            continue
        if not (is_desk and isinstance(node, Function) and node.name != node.name.lower()):
            yield node
        if isinstance(node, ast.ClassDef):
            yield from public(node.body, is_desk=is_desk)


def documented(source: dict[Path, ast.Module]) -> tuple[int, int]:
    """How many of the public things have a docstring, and how many there are."""
    things: list[ast.Module | ast.ClassDef | Function] = []
    for path, tree in source.items():
        things += [tree, *public(tree.body, is_desk="desk" in path.relative_to(PACKAGE).parts)]
    return sum(ast.get_docstring(thing) is not None for thing in things), len(things)


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
    with_words, things = documented(source)
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
        ("public things documented", f"{100 * with_words / things:.0f} % of {things:,}", "90 %"),
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
