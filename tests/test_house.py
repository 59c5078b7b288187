"""The rules of the house: which way imports run, how long files and functions are, what is documented."""

from __future__ import annotations

import ast
import statistics
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "lakemap"
MODULES = sorted(PACKAGE.rglob("*.py"))
STAGES = ("read", "echo", "clean", "hardness", "grid", "changes", "terrain", "water", "trips", "spots", "publish")
FORBIDDEN_NAMES = {"utils", "helpers", "common", "misc"}

BASE = {"errors", "version"}
LOW = BASE | {"units", "limits", "plugin_folder", "progress", "compiled"}
MODEL = LOW | {"model"}
SHARED = MODEL | {"geo", "physics"}
ALLOWED = {
    "errors": set(), "version": set(), "progress": set(),
    "units": BASE, "limits": BASE, "plugin_folder": BASE, "compiled": BASE,
    "model": LOW | {"model"}, "physics": MODEL | {"physics"}, "geo": SHARED,
    **{stage: SHARED | {stage} for stage in STAGES},
    "demo": SHARED | {"demo"},
    "project": SHARED | set(STAGES), "pipeline": SHARED | set(STAGES) | {"project"},
}
ALLOWED["planning"] = ALLOWED["pipeline"]
ALLOWED["cli"] = ALLOWED["pipeline"] | {"planning", "pipeline", "demo", "cli"}


def room(path):
    "First part of a module's place below the package: `read` for lakemap/read/nmea.py."
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(tree):
    "Rooms of this package that a module imports, at the top or inside functions."
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            inside = node.module == "lakemap"
            names = [f"lakemap.{alias.name}" for alias in node.names] if inside else [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        yield from (name.split(".")[1] for name in names if name.startswith("lakemap."))


def code_lines(function, source):
    "Lines of a function that are neither docstring, blank nor comment."
    doc = function.body[0] if ast.get_docstring(function) is not None else None
    skipped = set(range(doc.lineno, doc.end_lineno + 1)) if doc else set()
    lines = source.splitlines()[function.lineno - 1 : function.end_lineno]
    return sum(
        bool(text.strip()) and not text.strip().startswith("#")
        for number, text in enumerate(lines, function.lineno) if number not in skipped
    )


def functions(path):
    "Every function of a module, with its source text."
    source = path.read_text()
    tree = ast.parse(source)
    return [(node, source) for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_one_way(path):
    "A module imports only from the rooms below its own; stages never import each other."
    here = room(path)
    if here in ("__init__", "__main__"):
        return
    found = set(imported_rooms(ast.parse(path.read_text())))
    assert found <= ALLOWED[here] | {here}, f"{path.name} imports {sorted(found - ALLOWED[here])}"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_files_and_functions_stay_short(path):
    "At most 400 lines a file, 60 code lines a function, 7 arguments."
    assert path.read_text().count("\n") <= 400
    assert path.stem not in FORBIDDEN_NAMES
    for function, source in functions(path):
        spec = function.args
        count = len(spec.args) + len(spec.kwonlyargs) + len(spec.posonlyargs)
        count -= bool(spec.args) and spec.args[0].arg in ("self", "cls")
        command = any("command" in ast.unparse(mark) for mark in function.decorator_list)
        assert code_lines(function, source) <= 60, function.name
        assert count <= 7 or command, f"{function.name} takes {count} arguments"


def test_functions_are_short_on_the_whole():
    "The median function has 10 code lines or fewer."
    sizes = [code_lines(function, source) for path in MODULES for function, source in functions(path)]
    assert statistics.median(sizes) <= 10


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_public_things_are_documented(path):
    "Every module with code, public class and public function says what it is."
    source = path.read_text()
    tree = ast.parse(source)
    if tree.body:
        assert ast.get_docstring(tree), f"{path.name} has no sentence at its top"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{path.name}: {node.name} has no docstring"


def test_no_machine_paths_or_hosts():
    "Nothing in the project speaks of the machine it was written on or of a registry's host."
    for path in [*MODULES, *ROOT.glob("*.md"), ROOT / "pyproject.toml"]:
        text = path.read_text()
        for word in ("/" + "root/", "/" + "tmp/", "python" + "hosted", "pypi" + ".org"):
            assert word not in text, f"{path.name} holds {word}"
