"""The layout's rules: stages do not import each other; only cli imports click."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import crackmap

PACKAGE = Path(crackmap.__file__).parent
STAGES = {"photo", "scale", "survey", "placement", "resin", "sheets", "review", "demo", "stock", "setups", "machining"}
LIBRARIES = {"records", "settings", "shop", "published", "errors", "units", "keys", "wood", "frames", "remember"}
# The review is an end, like the command line: it reads and writes the job and runs the line, but no stage itself.
ENDS = {"review": {"pipeline", "job", "jsonform", "fields"}}
MODULES = sorted(PACKAGE.rglob("*.py"))


def _imports(path: Path) -> set[str]:
    """Dotted names that a module imports, anywhere in it."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {f"{node.module}.{alias.name}" for alias in node.names} | {node.module}
    return names


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_stage_imports_only_itself_and_the_libraries(path: Path) -> None:
    stage = path.relative_to(PACKAGE).parts[0]
    if stage not in STAGES:
        return
    for name in _imports(path):
        parts = name.split(".")
        if parts[0] != "crackmap" or len(parts) == 1:
            continue
        libraries = LIBRARIES | {stage} | ENDS.get(stage, set())
        allowed = parts[1] in libraries or parts[1:3] == ["scale", "mapping"] or parts[1:] == ["scale"]
        assert allowed, f"{path.name} imports {name}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_the_command_line_imports_click(path: Path) -> None:
    if path.relative_to(PACKAGE).parts[0] != "cli":
        assert not any(name.split(".")[0] == "click" for name in _imports(path))


def test_a_library_does_not_import_a_stage() -> None:
    for path in MODULES:
        top = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        if top in LIBRARIES:
            stages = {n for n in _imports(path) if n.startswith("crackmap.") and n.split(".")[1] in STAGES}
            assert stages <= {"crackmap.scale.mapping", "crackmap.scale.mapping.Mapping"}, f"{path}: {stages}"
