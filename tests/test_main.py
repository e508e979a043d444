"""How JupyterLab is started: on the notebooks, with room for uploads; an installed kit's copies of the notebooks."""

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

import linetilt
import pytest
from linetilt.app.command import UPLOAD_BYTES, arguments, book_path, main
from linetilt.app.own_folder import RECORD, decide, lay_out, working_folder

NOTEBOOK = "notebooks/1_marking_setup.ipynb"


@pytest.fixture
def root(tmp_path):
    """A folder with the kit's first notebook and another one."""
    (tmp_path / "root" / "notebooks").mkdir(parents=True)
    for name in ("1_marking_setup.ipynb", "2.ipynb"):
        (tmp_path / "root" / "notebooks" / name).write_text("{}")
    return tmp_path / "root"


@pytest.fixture
def kit(tmp_path):
    """What an installed kit holds: a notebook and what it needs."""
    for name in (NOTEBOOK, "notebooks/season/shots.csv", "demo_photos/6.jpg", "demo_photos/render.py"):
        file = tmp_path / "kit" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(f"first {name}")
    return tmp_path / "kit"


def test_it_opens_the_first_notebook_with_room_for_uploads(root):
    notebook, folder, settings = arguments(root=root)
    assert (notebook, folder) == (str(root / NOTEBOOK), f"--ServerApp.root_dir={root}")
    assert ast.literal_eval(settings.partition("=")[2]) == {"websocket_max_message_size": UPLOAD_BYTES}
    assert arguments(["2.ipynb", "--no-browser"], root=root)[0] == str(root / "notebooks" / "2.ipynb")
    assert arguments(["--port", "8890"], root=root)[-2:] == ["--port", "8890"]
    assert arguments(["wednesday.linetilt"], root=root) == [notebook, folder, settings]


def test_a_notebook_of_ones_own_is_opened_from_any_folder(root, tmp_path, monkeypatch):
    (tmp_path / "elsewhere").mkdir()
    own = tmp_path / "elsewhere" / "2.ipynb"
    own.write_text("{}")
    assert arguments([str(own)], root=root)[:2] == [str(own), f"--ServerApp.root_dir={own.parent}"]
    monkeypatch.chdir(own.parent)
    assert arguments(["2.ipynb"], root=root)[:2] == [str(own), f"--ServerApp.root_dir={own.parent}"]
    monkeypatch.chdir(root)
    assert arguments([NOTEBOOK], root=root)[:2] == [str(root / NOTEBOOK), f"--ServerApp.root_dir={root}"]


def test_a_notebook_that_is_not_there_is_said(root):
    with pytest.raises(linetilt.InputError, match=r"no notebook 'gone.ipynb'.*1_marking_setup.ipynb, 2.ipynb"):
        arguments(["gone.ipynb"], root=root)
    with pytest.raises(linetilt.InputError, match="2 notebooks are named"):
        arguments(["1_marking_setup.ipynb", "2.ipynb"], root=root)


def test_the_book_is_the_one_given_else_the_environments_else_one_in_the_users_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    monkeypatch.delenv("LINETILT_BOOK", raising=False)
    assert book_path(["2.ipynb"]) == tmp_path / "linetilt" / "shop.linetilt"
    monkeypatch.setenv("LINETILT_BOOK", "~/clinic.linetilt")
    assert book_path() == tmp_path / "clinic.linetilt"
    assert book_path(["2.ipynb", "wednesday.linetilt"]) == Path("wednesday.linetilt").resolve()


@pytest.mark.parametrize(
    ("now", "last", "step"),
    [
        (None, None, "copy"),  # the first time
        (None, "new", "copy"),  # it was deleted
        ("new", None, "keep"),
        ("new", "old", "keep"),
        ("old", "old", "copy"),  # a newer kit, and nobody changed the old one
        ("edited", "new", "keep"),  # the same kit again
        ("edited", "old", "beside"),
        ("edited", None, "beside"),  # a file that this kit never put there
    ],
)
def test_what_is_done_about_a_file(now, last, step):
    assert decide("new", now, last) == step


def test_an_edited_notebook_is_never_written_over(kit, tmp_path):
    own = tmp_path / "home" / "linetilt"
    assert lay_out(kit, own) == []
    laid = {file.relative_to(own).as_posix() for file in own.rglob("*") if file.is_file()}
    assert laid == {NOTEBOOK, "notebooks/season/shots.csv", "demo_photos/6.jpg", RECORD}
    (own / NOTEBOOK).write_text("edited")
    (own / "demo_photos" / "6.jpg").unlink()
    assert lay_out(kit, own) == []  # the same kit: the edited one is used, the deleted one comes back
    assert (own / NOTEBOOK).read_text() == "edited" and (own / "demo_photos" / "6.jpg").is_file()

    for name in (NOTEBOOK, "notebooks/season/shots.csv"):
        (kit / name).write_text(f"second {name}")
    (said,) = lay_out(kit, own)
    assert said.startswith(f"{NOTEBOOK} is your own and stays as it is") and said.endswith("1_marking_setup (2).ipynb")
    assert (own / NOTEBOOK).read_text() == "edited"
    assert (own / "notebooks" / "1_marking_setup (2).ipynb").read_text() == f"second {NOTEBOOK}"
    assert (own / "notebooks" / "season" / "shots.csv").read_text() == "second notebooks/season/shots.csv"
    assert lay_out(kit, own) == []

    (own / RECORD).write_text("[spoiled")  # then nothing counts as unchanged, and what is beside is found again
    assert len(lay_out(kit, own)) == 1 and len(list((own / "notebooks").iterdir())) == 3


def test_a_copy_of_the_whole_project_is_worked_in_as_it_is(root, kit, tmp_path):
    package = root / "kit" / "linetilt"
    package.mkdir(parents=True)
    assert working_folder(tmp_path / "own", package) == (root, []) and not (tmp_path / "own").exists()
    assert working_folder(tmp_path / "own", kit) == (tmp_path / "own", [])
    assert (tmp_path / "own" / NOTEBOOK).is_file()
    with pytest.raises(linetilt.InputError, match="holds no notebooks"):
        working_folder(tmp_path / "own", package / "app")


def test_the_command_says_what_it_is_and_what_is_wrong(monkeypatch, capsys, tmp_path):
    monkeypatch.setenv("LINETILT_BOOK", str(tmp_path / "shop.linetilt"))
    monkeypatch.setattr(sys, "argv", ["linetilt", "--help"])
    main()
    assert "linetilt 3_lie_table.ipynb" in capsys.readouterr().out
    monkeypatch.setattr(sys, "argv", ["linetilt", "gone.ipynb"])
    with pytest.raises(SystemExit, match="^linetilt: there is no notebook 'gone.ipynb'"):
        main()
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("LINETILT_BOOK", str(tmp_path / "file" / "shop.linetilt"))
    with pytest.raises(SystemExit, match="^linetilt: the folder of the book cannot be made"):
        main()


def test_jupyterlab_takes_the_settings(tmp_path):
    kit = os.path.dirname(os.path.dirname(linetilt.__file__))
    env = (
        os.environ
        | {f"JUPYTER_{name}_DIR": str(tmp_path / name) for name in ("CONFIG", "DATA", "RUNTIME")}
        | {"PYTHONPATH": kit}
    )
    env["LINETILT_BOOK"] = str(tmp_path / "books" / "shop.linetilt")
    own = tmp_path / "mine.ipynb"
    own.write_text(json.dumps({"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}))
    shown = subprocess.run(
        [sys.executable, "-m", "linetilt", "mine.ipynb", "--show-config-json"],
        capture_output=True,
        text=True,
        env=env,
        cwd=tmp_path,
        timeout=60,
        check=True,
    )
    settings = json.loads(shown.stdout)["ServerApp"]
    assert settings["tornado_settings"] == {"websocket_max_message_size": UPLOAD_BYTES}, shown.stdout + shown.stderr
    assert (settings["root_dir"], settings["file_to_run"]) == (str(tmp_path), str(own))
    assert (tmp_path / "books").is_dir()  # ready for the first notebook to make the book in
