"""The names the program has now, read from the program itself: its command line, its tables, its source."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import lagline

PACKAGE = Path(lagline.__file__).parent
# Modules whose values are written to files as they are.
WRITTEN = (
    "session.values", "session.findings", "session.setup", "session.plan", "deliver.manifest",
    "deliver.delivered", "jobs.journal", "jobs.machine",
)  # fmt: skip
SCHEMA = re.compile(r"lagline/[a-z-]+(/\d+)?")

Names = dict[str, dict[str, str]]  # by section; a name and, where it has one, its wording


def names() -> Names:
    trees = {path: ast.parse(path.read_text("utf-8")) for path in sorted(PACKAGE.rglob("*.py"))}
    found: Names = {
        "commands": {},
        "options": {},
        "menus": {},
        "desk": {},
        "tabs": dict.fromkeys(_each(trees, _tabs), ""),
        "states": dict.fromkeys(_each(trees, _states), ""),
        "suffixes": dict.fromkeys(_each(trees, _suffixes), ""),
        "schemas": dict.fromkeys(_each(trees, _schemas), ""),
        "keys": dict.fromkeys((*_struct_keys(), *_each(trees, _document_keys)), ""),
    }
    _add_command_line(found)
    _add_desk(found)
    return found


def _each(trees: dict[Path, ast.Module], read: Any) -> list[str]:
    return sorted({name for tree in trees.values() for name in read(tree)})


def _add_command_line(found: Names) -> None:
    import typer.main

    from lagline.cli.app import app

    top = typer.main.get_command(app)
    commands = {"": top, **top.commands}  # type: ignore[attr-defined]
    for name, command in sorted(commands.items()):
        if name:
            found["commands"][name] = ""
        for parameter in command.params:
            for option in parameter.opts:
                if option.startswith("-"):
                    found["options"][option] = ""


def _add_desk(found: Names) -> None:
    from lagline.desk.commands import COMMANDS, MENUS

    found["menus"] = dict.fromkeys(MENUS, "")
    found["desk"] = {one.id: one.text for one in COMMANDS if not re.fullmatch(r"hear_[3-9]", one.id)}


def _tabs(tree: ast.Module) -> Iterator[str]:
    """Titles given to `addTab`: written there, or in the rows of the loop it stands in."""
    for loop in ast.walk(tree):
        if not isinstance(loop, ast.For):
            continue
        titles = _loop_columns(loop)
        for call in ast.walk(loop):
            if _is_call(call, "addTab") and isinstance(call.args[1], ast.Name):
                yield from titles.get(call.args[1].id, ())
    for call in ast.walk(tree):
        if _is_call(call, "addTab") and isinstance(call.args[1], ast.Constant):
            yield str(call.args[1].value)


def _is_call(node: ast.AST, name: str) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == name


def _loop_columns(loop: ast.For) -> dict[str, list[str]]:
    """`for a, b in ((1, "x"), (2, "y"))`: {"b": ["x", "y"]}."""
    if not isinstance(loop.target, ast.Tuple) or not isinstance(loop.iter, ast.Tuple):
        return {}
    columns: dict[str, list[str]] = {}
    for number, target in enumerate(loop.target.elts):
        cells = [row.elts[number] for row in loop.iter.elts if isinstance(row, ast.Tuple)]
        if isinstance(target, ast.Name):
            columns[target.id] = _texts(cells)
    return columns


def _texts(nodes: Iterable[ast.AST]) -> list[str]:
    return [node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str)]


def _states(tree: ast.Module) -> Iterator[str]:
    """`Name = Literal["one", "other"]` at the top of a module: "Name: one"."""
    for line in tree.body:
        if isinstance(line, ast.Assign) and isinstance(line.value, ast.Subscript):
            kind = line.value.value
            if isinstance(kind, ast.Name) and kind.id == "Literal" and isinstance(line.targets[0], ast.Name):
                for text in _texts(ast.walk(line.value.slice)):
                    if text:
                        yield f"{line.targets[0].id}: {text}"


def _suffixes(tree: ast.Module) -> Iterator[str]:
    for line in tree.body:
        if isinstance(line, ast.Assign) and any("SUFFIX" in name.id for name in _assigned(line)):
            yield from (text for text in _texts(ast.walk(line.value)) if text.startswith("."))


def _assigned(line: ast.Assign) -> list[ast.Name]:
    return [node for target in line.targets for node in ast.walk(target) if isinstance(node, ast.Name)]


def _schemas(tree: ast.Module) -> Iterator[str]:
    yield from (text for text in _texts(ast.walk(tree)) if SCHEMA.fullmatch(text))


def _document_keys(tree: ast.Module) -> Iterator[str]:
    """Keys of the dictionaries in a function that writes a document with a schema, and in those it calls."""
    functions = {node.name: node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    for function in functions.values():
        if "schema" in _dict_keys(function):
            reached, ahead = set[str](), [function.name]
            while ahead:
                name = ahead.pop()
                if name in functions and name not in reached:
                    reached.add(name)
                    ahead += [node.id for node in ast.walk(functions[name]) if isinstance(node, ast.Name)]
                    yield from _dict_keys(functions[name])


def _dict_keys(function: ast.FunctionDef) -> set[str]:
    tables = [node for node in ast.walk(function) if isinstance(node, ast.Dict)]
    return {key for table in tables for key in _texts(filter(None, table.keys))}


def _struct_keys() -> Iterator[str]:
    from msgspec import Struct
    from msgspec.structs import fields

    for name in WRITTEN:
        module = importlib.import_module(f"lagline.{name}")
        for kind in vars(module).values():
            if isinstance(kind, type) and issubclass(kind, Struct) and kind.__module__ == module.__name__:
                yield from (field.encode_name for field in fields(kind))
