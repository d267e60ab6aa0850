"""The rule of the house: one import direction, and pieces that a person can read in one go."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "parcelfence"
ORDER = (
    *(
        "text",
        "errors",
        "units",
        "layers",
        "setting_values",
        "animal",
        "settings",
        "setting_info",
        "compiled",
        "lines",
        "antimeridian",
        "conflict",
        "wording",
    ),
    *("inputs", "site", "layout", "field", "circuit", "rules", "takeoff"),
    *(
        "finished_plan",
        "planning",
        "advice",
        "alternatives",
        "many",
        "screening",
        "workers",
        "service",
        "outputs",
        "cli",
        "__main__",
        "qgis_plugin",
    ),
)
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path.parent != PACKAGE or path.stem != "__init__")
DOTTED = {".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path for path in MODULES}

IN_QGIS = "qgis_plugin"
"""Runs in the Python of QGIS under another name: it imports its own files from where it stands."""
MOST_LINES = 400
MOST_FUNCTION_LINES = 60
MOST_POSITIONAL = 2


def _name(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


def _stage(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imported_stages(tree: ast.AST) -> set[str]:
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add("parcelfence.RELATIVE")
    return {parts[1] for name in names if (parts := name.split("."))[0] == "parcelfence" and len(parts) > 1}


@pytest.mark.parametrize("path", [path for path in MODULES if _stage(path) != IN_QGIS], ids=_name)
def test_a_stage_imports_only_what_stands_above_it(path: Path) -> None:
    here = ORDER.index(_stage(path))
    for stage in _imported_stages(ast.parse(path.read_text(encoding="utf-8"))):
        if stage == "__version__":
            continue
        assert stage in ORDER, f"{_name(path)} imports {stage}, which is no stage"
        assert ORDER.index(stage) <= here, f"{_name(path)} imports {stage}, which stands below it"


def _imported_modules(path: Path) -> set[str]:
    """Give the modules of the package that a file imports, for types and inside functions too."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
    return names & set(DOTTED)


@pytest.mark.parametrize("path", sorted((PACKAGE / IN_QGIS).glob("*.py")), ids=_name)
def test_the_plugin_imports_the_standard_library_qgis_and_itself(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), feature_version=(3, 9))):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom):
            assert node.level <= 1, f"{_name(path)} leaves its folder"
            names = [] if node.level else [node.module or ""]
        foreign = {name.split(".")[0] for name in names} - sys.stdlib_module_names - {"qgis", "processing"}
        assert not foreign, f"{_name(path)} imports {foreign}"


def test_no_two_files_import_each_other_by_any_way() -> None:
    waiting = {name: _imported_modules(path) - {name} for name, path in DOTTED.items()}
    while free := {name for name, needed in waiting.items() if not needed & set(waiting)}:
        waiting = {name: needed for name, needed in waiting.items() if name not in free}
    assert not waiting, f"these files lie on a circle of imports, or lead into one: {sorted(waiting)}"


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_no_piece_is_too_large(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            said, _, _ = (text := ast.get_docstring(node) or "").partition("\n\nExamples\n")
            lines = (node.end_lineno or 0) - node.lineno + 1 - (text.count("\n") - said.count("\n"))
            assert lines <= MOST_FUNCTION_LINES, f"{node.name} has {lines} lines"
            arguments = [*node.args.posonlyargs, *node.args.args]
            positional = [argument.arg for argument in arguments if argument.arg not in {"self", "cls"}]
            compiled = {"compiled", "_in_lanes"} & {getattr(one, "id", "") for one in node.decorator_list}
            qgis_method = _stage(path) == IN_QGIS and {"context", "feedback"} <= set(positional)
            click_method = {"ctx", "formatter"} <= set(positional) or {"ctx", "args"} <= set(positional)
            assert len(positional) <= MOST_POSITIONAL or click_method or qgis_method or compiled, (
                f"{node.name} takes {positional} by position"
            )


def test_stages_are_folders_one_level_deep() -> None:
    found = {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert found <= set(ORDER)
    assert not list(PACKAGE.glob("*/*/*.py"))


def test_only_readers_and_writers_call_fiona() -> None:
    callers = {
        _name(path)
        for path in MODULES
        if any(
            (isinstance(node, ast.Import) and any(alias.name.split(".")[0] == "fiona" for alias in node.names))
            or (isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "fiona")
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        )
    }
    assert {name for name in callers if not name.startswith("outputs/")} <= {"inputs/vector_file.py", "cli/fio.py"}
