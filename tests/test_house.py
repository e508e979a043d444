"""The habits of the house: style, types, packages that import only downwards, and names that are where they are said to
be.
"""

import ast
import importlib
import inspect
import subprocess
import sys
import tomllib
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import linetilt
import pytest
from conftest import SLOW

PROJECT = Path(__file__).parents[1]
KIT = Path(linetilt.__file__).parent
ORDER = ("base", "words", "reading", "marking", "lie", "flight", "bench", "book", "session", "handouts", "app")
TYPED = ("linetilt", "linetilt.flight", "linetilt.marking")  # packages whose names type checkers see; a growing list


def run(*command):
    done = subprocess.run([sys.executable, "-m", *command], capture_output=True, text=True, cwd=PROJECT, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr


def test_ruff_finds_nothing():
    run("ruff", "check", "--no-cache", "--output-format", "concise", ".")


def test_every_file_is_formatted():
    run("ruff", "format", "--no-cache", "--check", ".")


def test_mypy_finds_nothing(tmp_path):
    run("mypy", "--cache-dir", str(tmp_path))


def public_functions():
    """Every public function of the packages, and every method and property that a public class offers."""
    for package in ORDER[:-1]:
        module = importlib.import_module(f"linetilt.{package}")
        for thing in (getattr(module, name) for name in dir(module) if not name.startswith("_")):
            if inspect.isfunction(thing):
                yield thing
            elif inspect.isclass(thing) and thing.__module__.startswith("linetilt."):
                parts = (inspect.getattr_static(thing, name) for name in dir(thing) if not name.startswith("_"))
                functions = (getattr(part, "fget", None) or getattr(part, "__func__", part) for part in parts)
                yield from filter(inspect.isfunction, functions)


def test_every_public_name_says_its_types():
    """Each argument, and what comes back."""
    functions = {inspect.unwrap(one) for one in public_functions() if one.__module__.startswith("linetilt.")}
    missing = {
        f"{one.__module__}.{one.__qualname__}": sorted(untyped)
        for one in functions
        if (untyped := {*inspect.signature(one).parameters, "return"} - {"self", "cls"} - set(one.__annotations__))
    }
    assert missing == {} and len(functions) > 150


# ---- what imports what -----------------------------------------------------------------------------------------------


def module_name(file):
    parts = file.relative_to(KIT.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


FILES = {module_name(file): file for file in sorted(KIT.rglob("*.py")) if file.relative_to(KIT).parts[0] in ORDER}


def imported(name, tree):
    """Every module of the kit that a module imports, wherever in its text, with the names taken from it."""
    package = name if FILES[name].name == "__init__.py" else name.rpartition(".")[0]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names if alias.name.split(".")[0] == "linetilt")
        elif isinstance(node, ast.ImportFrom):
            base = package.rsplit(".", node.level - 1)[0] if node.level else ""
            source = f"{base}.{node.module}".strip(".") if node.module else base
            if source.split(".")[0] == "linetilt":
                for alias in node.names:
                    whole = f"{source}.{alias.name}"
                    yield (whole, "") if whole in FILES else (source, alias.name)


IMPORTS = {name: set(imported(name, ast.parse(file.read_text("utf-8")))) for name, file in FILES.items()}


def test_what_is_looked_at_is_the_whole_kit():
    assert {name.split(".")[1] for name in FILES} == set(ORDER)
    assert ("linetilt.lie.hands", "lie_change_from_handle_deg") in IMPORTS["linetilt.flight.dispersion"]


def test_packages_import_only_from_those_before_them():
    rank = {package: number for number, package in enumerate(ORDER)}
    climbs = []
    for name, sources in IMPORTS.items():
        for source, taken in sources:
            if source == "linetilt":
                climbs += [] if taken == "__version__" else [f"{name} takes {taken or 'all'} from linetilt itself"]
            elif rank[source.split(".")[1]] > rank[name.split(".")[1]]:
                climbs.append(f"{name} imports {source}")
    assert climbs == []


def test_no_module_imports_itself_by_a_detour():
    graph = {name: {source for source, _ in sources if source != name} for name, sources in IMPORTS.items()}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(" imports ".join(reversed(error.args[1])))


# ---- names and files -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("package", TYPED)
def test_type_checkers_see_the_same_names(package):
    module = importlib.import_module(package)
    tree = ast.parse(Path(module.__file__).read_text("utf-8"))
    (block,) = (node for node in tree.body if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING")
    listed = {}
    for node in block.body:
        assert isinstance(node, ast.ImportFrom) and all(alias.asname == alias.name for alias in node.names)
        listed |= {alias.name: f"{package}.{node.module}" for alias in node.names}
    assert sorted(listed) == module.__all__
    for name, place in listed.items():
        assert getattr(module, name) is getattr(importlib.import_module(place), name)


def test_few_names_stand_at_the_top_and_each_one_says_what_it_does():
    assert len(linetilt.__all__) <= 36
    assert [name for name in linetilt.__all__ if not getattr(linetilt, name).__doc__] == []


def test_every_package_is_in_the_wheel():
    settings = tomllib.loads((PROJECT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    inside = {".".join(file.parent.relative_to(KIT.parent).parts) for file in KIT.rglob("*.py")}
    assert set(settings["packages"]) == inside | {"linetilt.notebooks", "linetilt.demo_photos"}
    assert (KIT / "py.typed").is_file()


@pytest.mark.parametrize("file", sorted(SLOW))
def test_what_is_listed_as_slow_is_there(file):
    tree = ast.parse((PROJECT / "tests" / file).read_text("utf-8"))
    names = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    assert set(SLOW[file]) <= names


def test_the_readme_names_the_command_that_ci_runs():
    lines = (PROJECT / "README.md").read_text("utf-8").split("\n")
    for marker, needed in (("<!-- test command -->", "-m pytest"), ("<!-- open command -->", "linetilt")):
        assert lines.count(marker) == 1
        command = lines[lines.index(marker) + 1]
        assert command.startswith("`") and command.endswith("`") and needed in command
    assert "<!-- test command -->" in (PROJECT / ".ci" / "run").read_text("utf-8")
