"""Imports point one way: a package imports only from packages that stand below it, and nothing runs in a circle."""

import ast
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1] / "charprobe"
HOUSE = [
    "cli",
    "rehearsal",
    "publishing",
    "bench",
    "session",
    "replica",
    "comparing",
    "listening",
    "measuring",
    "estimators",
    "placing",
    "simulation",
    "stimulus",
    "profile",
    "files",
    "values",
]
NARROWER = {  # a package -> all it may import, where that is less than what stands below it
    "comparing": {"profile", "files", "values"},
    "listening": {"files", "values"},
    "estimators": {"stimulus", "values"},
}
ONLY_FROM = {"simulation": {"rehearsal", "cli"}, "bench": {"cli"}}
OWNERS = {
    "soundfile": {"files"},
    "matplotlib": {"publishing"},
    "numba": {"values"},
    "librosa": {"listening"},
    "soxr": {"listening"},
}
MODULES = sorted(ROOT.glob("*/**/*.py"))


@cache
def imports_of(path: Path) -> set[str]:
    """Dotted names a file imports; of `from a import b` the module `a.b` where there is one, else `a`."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the direction"
            module = node.module or ""
            for alias in node.names:
                inside = ROOT.parent / Path(*module.split("."), alias.name)
                found.add(f"{module}.{alias.name}" if inside.with_suffix(".py").exists() else module)
    return found


def own_parts(path: Path) -> set[str]:
    """Modules of this project a file imports, as paths below the package: `files.output`."""
    return {name.removeprefix("charprobe.") for name in imports_of(path) if name.startswith("charprobe.")}


def package_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0]


def test_every_folder_has_its_place_in_the_house():
    folders = {path.parent.name for path in ROOT.glob("*/__init__.py")}
    assert folders <= set(HOUSE), sorted(folders - set(HOUSE))
    assert {path.name for path in ROOT.glob("*.py")} == {"__init__.py", "__main__.py"}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_point_down(path):
    own = package_of(path)
    below = set(HOUSE[HOUSE.index(own) + 1 :])
    allowed = NARROWER.get(own, below)
    allowed = {name for name in allowed if own in ONLY_FROM.get(name, {own})}
    for name in own_parts(path):
        other = name.split(".", maxsplit=1)[0]
        assert other == own or other in allowed, f"{path.relative_to(ROOT)} imports charprobe.{name}"


@pytest.mark.parametrize("package", HOUSE)
def test_no_circle_between_the_files_of_a_package(package):
    files = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts): path
        for path in ROOT.glob(f"{package}/**/*.py")
    }
    TopologicalSorter({name: own_parts(path) & set(files) for name, path in files.items()}).prepare()


@pytest.mark.parametrize("library", sorted(OWNERS))
def test_only_the_owners_use_the_heavy_libraries(library):
    users = {package_of(p) for p in MODULES if library in {name.split(".")[0] for name in imports_of(p)}}
    assert users <= OWNERS[library], sorted(users - OWNERS[library])
