"""The kit as a wheel: it brings its notebooks and photos, and they work where nothing of this project is at hand."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from linetilt.app.own_folder import PARTS

PROJECT = Path(__file__).parents[1]
NOTEBOOKS = ("2_photo_analysis.ipynb", "explore_export.ipynb")  # they need the photos and tables beside them


def run(*command, folder, **env):
    """Run a command in a folder and return what it printed."""
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, cwd=folder, env=os.environ | env)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A folder with the kit installed from its wheel, and the environment in which only that kit is found."""
    folder = tmp_path_factory.mktemp("install")
    source = folder / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(PROJECT / name, source)
    for name in ("kit", *PARTS):
        shutil.copytree(PROJECT / name, source / name, ignore=shutil.ignore_patterns("__pycache__", ".*", "*.egg-info"))
    pip = (sys.executable, "-m", "pip", "-q", "--disable-pip-version-check")
    run(*pip, "wheel", "--no-deps", "--no-index", "--no-build-isolation", "-w", "wheel", "./source", folder=folder)
    (wheel,) = (folder / "wheel").glob("*.whl")
    run(*pip, "install", "--no-deps", "--no-index", "--target", "kit", str(wheel), folder=folder)
    shutil.rmtree(source)
    env = {f"JUPYTER_{name}_DIR": str(folder / name) for name in ("CONFIG", "DATA", "RUNTIME")}
    env |= {"PYTHONPATH": str(folder / "kit"), "HOME": str(folder / "home"), "USERPROFILE": str(folder / "home")}
    return folder, env


def test_the_wheel_holds_every_notebook_table_and_photo(installed):
    folder, _ = installed
    for part in PARTS:
        files = (file.relative_to(PROJECT) for file in (PROJECT / part).rglob("*") if file.is_file())
        wanted = {file for file in files if not any(name.startswith((".", "__")) for name in file.parts)}
        assert {file for file in wanted if not (folder / "kit" / "linetilt" / file).is_file()} == set()
    assert (folder / "kit" / "linetilt" / "py.typed").is_file()


def test_the_command_copies_the_notebooks_and_they_run(installed):
    folder, env = installed
    script = next((folder / "kit" / "bin").glob("linetilt*"))
    settings = json.loads(run(str(script), NOTEBOOKS[0], "--show-config-json", folder=folder, **env))["ServerApp"]
    own = folder / "home" / "linetilt"
    assert settings["root_dir"] == str(own)
    assert settings["file_to_run"] == str(own / "notebooks" / NOTEBOOKS[0])
    place = run(sys.executable, "-c", "import linetilt; print(linetilt.__file__)", folder=folder, **env).strip()
    assert Path(place).is_relative_to(folder)
    run(
        *(sys.executable, "-m", "nbconvert", "--to", "notebook", "--execute", "--output-dir", str(folder / "run")),
        *(str(own / "notebooks" / name) for name in NOTEBOOKS),
        folder=folder,
        **env,
    )
    for name in NOTEBOOKS:
        cells = json.loads((folder / "run" / name).read_text())["cells"]
        kinds = {output["output_type"] for cell in cells for output in cell.get("outputs", ())}
        assert kinds and "error" not in kinds
