"""How JupyterLab is started: on the notebooks, and with room for uploads."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import linetilt
from linetilt.app.command import UPLOAD_BYTES, arguments, book_path


def test_it_opens_the_first_notebook_with_room_for_uploads(tmp_path):
    (tmp_path / "notebooks").mkdir()
    first = tmp_path / "notebooks" / "1_marking_setup.ipynb"
    first.write_text("{}")
    notebook, folder, settings = arguments(root=tmp_path)
    assert (notebook, folder) == (str(first), f"--ServerApp.root_dir={tmp_path}")
    assert ast.literal_eval(settings.partition("=")[2]) == {"websocket_max_message_size": UPLOAD_BYTES}
    other = tmp_path / "notebooks" / "2.ipynb"
    other.write_text("{}")
    assert arguments(["2.ipynb", "--no-browser"], tmp_path)[0] == str(other) and arguments(
        ["--port", "8890"], tmp_path
    )[-2:] == ["--port", "8890"]
    assert arguments(["gone.ipynb"], tmp_path)[0].startswith("--ServerApp")
    assert arguments(["wednesday.linetilt"], tmp_path) == [notebook, folder, settings]


def test_the_book_is_the_one_given_else_the_environments_else_one_in_the_users_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    monkeypatch.delenv("LINETILT_BOOK", raising=False)
    assert book_path(["2.ipynb"]) == tmp_path / "linetilt" / "shop.linetilt"
    monkeypatch.setenv("LINETILT_BOOK", "~/clinic.linetilt")
    assert book_path() == tmp_path / "clinic.linetilt"
    assert book_path(["2.ipynb", "wednesday.linetilt"]) == Path("wednesday.linetilt").resolve()


def test_jupyterlab_takes_the_settings(tmp_path):
    kit = os.path.dirname(os.path.dirname(linetilt.__file__))
    env = (
        os.environ
        | {f"JUPYTER_{name}_DIR": str(tmp_path / name) for name in ("CONFIG", "DATA", "RUNTIME")}
        | {"PYTHONPATH": kit}
    )
    env["LINETILT_BOOK"] = str(tmp_path / "books" / "shop.linetilt")
    shown = subprocess.run(
        [sys.executable, "-m", "linetilt", "--show-config-json"],
        capture_output=True,
        text=True,
        env=env,
        timeout=60,
        check=True,
    )
    assert f'"websocket_max_message_size": {UPLOAD_BYTES}' in shown.stdout, shown.stdout + shown.stderr
    assert (tmp_path / "books").is_dir()  # ready for the first notebook to make the book in
