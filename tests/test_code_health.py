"""The code's own rules: clean by ruff and mypy, docstrings that say shapes, units and errors, nothing dead.

The rules are few and read from the source itself (Python's `ast`); where one is left out, the list below gives
the reason. They can't tell whether a docstring is true: only that it says what a reader needs.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import crackmap

PACKAGE = Path(crackmap.__file__).parent
ROOT = Path(__file__).resolve().parent.parent
MODULES = sorted(PACKAGE.rglob("*.py"))
LONGEST_FUNCTION, LONGEST_FILE = 60, 620  # aims are 40 and 400; a table or one long drawing may pass them
BANNED = {"data", "info", "result", "process", "utils", "helpers", "manager", "handle"}
NAMED_BY_A_LIBRARY = {"crackmap.review.listen": {"data_received", "data"}}
UNIT = re.compile(
    r"\[(-|deg|rad|g|kg|N|GPa|s|h|min|°C|px/mm|1/mm|mm2|mm3|mm/min)[^\]]*\]"
    r"|\b(units?|mm|millimetres?|px|pixels?|degrees?|inch(es)?|MPa|kN|grams?|ml|minutes?|seconds?|days?|percent"
    r"|PDF points)\b|%")
NAMES_ITS_UNIT = re.compile(r"(^|_)(mm|px|deg|rad|percent|mpa|kn|ml|c|s|min|inches|px_per_mm|mm_per_px)$")
SHAPE = re.compile(r"\bshape\b|\((\d|[A-Z])\w*,|\([A-Z]\)|\b[A-Z] (by|x) [A-Z]\b")
# Run by `python -m`.
ENTRY_POINTS = {"crackmap.__main__", "crackmap.demo.batch", "crackmap.survey.judge_training",
                "crackmap.survey.width_training"}
# The networks and judges are fitted again by tests/benchmarks; what only they call is in use.
FITS = sorted((ROOT / "tests" / "benchmarks").rglob("*.py"))
KEPT_FOR_CHECKS = {
    "crackmap.keys.outline": {"is_tangent", "is_reachable_by_bit"},  # ask of an outline what its maker must hold
    "crackmap.keys.fracture": {"opening_of_stress"},  # the one quantity of the method that handbooks tabulate ...
    "crackmap.published": {"EDGE_CRACK_MOUTH"},  # ... and the tabulated figure
    "crackmap.review.actions": {"ACTIONS"},  # every action there is, for the test that tries each
}
IMPORTED_AS = {"opencv-python-headless": "cv2", "pillow": "PIL", "pillow-heif": "pillow_heif",
               "scikit-image": "skimage"}


@dataclass(frozen=True)
class Definition:
    """A public function or class of a module."""

    module: str
    node: ast.FunctionDef | ast.ClassDef

    @property
    def name(self) -> str:
        return f"{self.module}.{self.node.name}"

    @property
    def docstring(self) -> str:
        return ast.get_docstring(self.node) or ""

    @property
    def is_command(self) -> bool:
        """A click command: what it says is the help that a user reads."""
        return any("command(" in ast.unparse(d) or "group(" in ast.unparse(d) for d in self.node.decorator_list)


def _module_name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _public() -> Iterator[Definition]:
    for path in MODULES:
        for node in _tree(path).body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                yield Definition(_module_name(path), node)


def _functions() -> Iterator[Definition]:
    return (each for each in _public() if isinstance(each.node, ast.FunctionDef) and not each.is_command)


@cache
def _array_names() -> frozenset[str]:
    """NDArray and every alias of it in the package."""
    aliases = {target.id for path in MODULES for node in _tree(path).body if isinstance(node, ast.Assign)
               and ast.unparse(node.value).startswith("NDArray[")
               for target in node.targets if isinstance(target, ast.Name)}
    return frozenset(aliases | {"NDArray"})


def _arguments(node: ast.FunctionDef) -> list[ast.arg]:
    return [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]


def _annotation(node: ast.expr | None) -> str:
    return ast.unparse(node) if node is not None else ""


def _takes_arrays(node: ast.FunctionDef) -> bool:
    words = {word for a in _arguments(node) for word in re.findall(r"\w+", _annotation(a.annotation))}
    return bool(words & _array_names())


def _unitless_lengths(node: ast.FunctionDef) -> list[str]:
    """Plain floats that go in or come out, whose names don't give their unit."""
    floats = ("float", "float | None")
    names = [a.arg for a in _arguments(node)
             if _annotation(a.annotation) in floats and not NAMES_ITS_UNIT.search(a.arg)]
    returned = _annotation(node.returns) in floats and not NAMES_ITS_UNIT.search(node.name)
    return names + (["what it returns"] if returned else [])


def _raised(node: ast.FunctionDef) -> set[str]:
    """Classes that the function itself raises (not those of the functions in it)."""
    inner = {id(each) for f in ast.walk(node) if isinstance(f, ast.FunctionDef | ast.Lambda) and f is not node
             for each in ast.walk(f)}
    return {each.exc.func.id for each in ast.walk(node) if isinstance(each, ast.Raise) and id(each) not in inner
            and isinstance(each.exc, ast.Call) and isinstance(each.exc.func, ast.Name)
            and each.exc.func.id[0].isupper()}


def _documented_arguments(docstring: str) -> list[str]:
    """Names in the Parameters section."""
    section = re.search(r"Parameters\n-+\n(.*?)(\n\n\w+\n-+\n|\Z)", docstring, re.DOTALL)
    lines = section.group(1).split("\n") if section else []
    heads = [line.split(":")[0] for line in lines if line and not line.startswith(" ")]
    return [name.strip().lstrip("*") for head in heads for name in head.split(",")]


@pytest.mark.parametrize("command", [["ruff", "check", "crackmap", "tests"], ["mypy"]], ids=lambda c: c[0])
def test_checkers_find_nothing(command: list[str]) -> None:
    """What pyproject.toml asks of them; `mypy` there is strict over the package."""
    if command == ["mypy"] and np.lib.NumpyVersion(np.__version__) >= "2.5.0":
        pytest.skip("numpy 2.5 annotates its functions otherwise; the package is checked against 2.4, the newest that "
                    "Python 3.11 takes")
    ended = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, f"{ended.stdout}\n{ended.stderr}"


def test_everything_public_has_a_docstring() -> None:
    # A command may give its help to click in words that are put together.
    bare = [each.name for each in _public() if not each.docstring
            and not (each.is_command and any("help=" in ast.unparse(d) for d in each.node.decorator_list))]
    assert not bare, bare


def test_functions_of_arrays_say_their_shapes() -> None:
    silent = [each.name for each in _functions() if _takes_arrays(each.node) and not SHAPE.search(each.docstring)]
    assert not silent, silent


def test_functions_of_plain_numbers_say_their_units() -> None:
    silent = [(each.name, names) for each in _functions() if (names := _unitless_lengths(each.node))
              and not UNIT.search(each.docstring)]
    assert not silent, "\n".join(map(str, silent))


def test_functions_that_raise_say_what() -> None:
    silent = [(each.name, missing) for each in _functions()
              if (missing := {name for name in _raised(each.node) if name not in each.docstring})]
    assert not silent, silent


def test_documented_parameters_are_there() -> None:
    """The reverse: a docstring that tells of what is gone misleads."""
    for each in _functions():
        given = each.node.args
        known = {a.arg for a in (*_arguments(each.node), given.vararg, given.kwarg) if a is not None}
        assert set(_documented_arguments(each.docstring)) <= known, each.name


def test_functions_and_files_are_short() -> None:
    for path in MODULES:
        assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_FILE, path
        for node in ast.walk(_tree(path)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                says = ast.get_docstring(node, clean=False) or ""
                lines = (node.end_lineno or 0) - node.lineno + 1 - (says.count("\n") + 1 if says else 0)
                assert lines <= LONGEST_FUNCTION, f"{path.name}: {node.name} has {lines} lines"


def _names_given(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id


@pytest.mark.parametrize("path", MODULES, ids=_module_name)
def test_names_say_something(path: Path) -> None:
    names = {*_names_given(_tree(path)), path.stem} - NAMED_BY_A_LIBRARY.get(_module_name(path), set())
    told = {name for name in names if set(name.lower().split("_")) & BANNED}
    assert not told


def _imports(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def test_the_package_imports_only_what_it_depends_on() -> None:
    """No package of the dev extra, and nothing that came in by the way of another package."""
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    allowed = {IMPORTED_AS.get(name, name) for name in (re.split(r"[><=\[; ]", each)[0] for each in asked)}
    for path in MODULES:
        outside = {name.split(".")[0] for name in _imports(path)} - set(sys.stdlib_module_names) - {"crackmap"}
        assert outside <= allowed, path


def test_every_module_is_used() -> None:
    """Commands are named by a string in cli/main.py, hence the look for quoted names as well."""
    imported = set().union(*(_imports(path) for path in [*MODULES, *FITS]))
    commands = {node.value for node in ast.walk(_tree(PACKAGE / "cli" / "main.py"))
                if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    for path in MODULES:
        name = _module_name(path)
        if path.name != "__init__.py" and name not in ENTRY_POINTS:
            assert name in imported or (path.parent.name == "cli" and path.stem in commands), name


def test_everything_public_is_used() -> None:
    """Each public function, class and constant is named somewhere besides its definition, and not by tests alone."""
    used = {word for path in [*MODULES, *FITS] for node in ast.walk(_tree(path)) for word in _names_taken(node)}
    for path in MODULES:
        name = _module_name(path)
        if name not in ENTRY_POINTS:
            unused = {each for each in _defined(_tree(path)) if each not in used and not each.startswith("_")}
            assert unused == KEPT_FOR_CHECKS.get(name, set()), f"{name}: {unused}"


def _names_taken(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
        yield node.id
    elif isinstance(node, ast.Attribute):
        yield node.attr
    elif isinstance(node, ast.ImportFrom):
        # Under another name, it is used by that one.
        yield from (alias.name for alias in node.names if alias.asname)
    elif isinstance(node, ast.Constant) and isinstance(node.value, str) and " " not in node.value:
        yield from re.findall(r"\w+", node.value)  # an annotation, or a name that is looked up by its module


def _defined(tree: ast.Module) -> Iterator[str]:
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Assign):
            yield from (t.id for t in node.targets if isinstance(t, ast.Name))
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id
