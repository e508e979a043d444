"""``python -m linetilt``: open JupyterLab on the kit's notebooks and the fitter's book, with room for uploaded photos. The same on every system."""

import os
import sys
from pathlib import Path

from ..session.which_book import BOOK_VARIABLE, USUAL_BOOK

UPLOAD_BYTES = (
    200 * 2**20
)  # all photos of one upload together; JupyterLab's own limit is 10 MiB, above which they vanish
CONFIG = (
    Path(__file__).parent / "jupyter"
)  # has JupyterLab not ask the net for news and newer versions: nothing leaves the machine
FIRST = "1_marking_setup.ipynb"
BOOK_END = ".linetilt"


def arguments(given=(), root=None):
    """Return the arguments with which JupyterLab is started.

    Parameters
    ----------
    given : sequence of str
        Notebooks to begin with, by name or path, a book (see `book_path`), and any of JupyterLab's own options.
    root : path, optional
        The folder that holds `notebooks`; default where this copy of the kit lies, else the current folder.
    """
    root = Path(root) if root else Path(__file__).resolve().parents[3]
    root = root if (root / "notebooks").is_dir() else Path.cwd()
    names = [name for name in given if name.endswith(".ipynb")] or [FIRST]
    paths = [
        next((path for path in (Path(name).resolve(), root / "notebooks" / name) if path.exists()), None)
        for name in names
    ]
    options = [name for name in given if not name.endswith((".ipynb", BOOK_END))]
    settings = [
        f"--ServerApp.root_dir={root}",
        f"--ServerApp.tornado_settings={{'websocket_max_message_size': {UPLOAD_BYTES}}}",
    ]
    return [str(path) for path in paths if path] + settings + options


def book_path(given=()):
    """Return the book that all notebooks share: the one given, as a name that ends in ``.linetilt``, else what the environment names,
    else ``linetilt/shop.linetilt`` in the user's own folder.
    """
    named = next((name for name in given if name.endswith(BOOK_END)), os.environ.get(BOOK_VARIABLE))
    return Path(named).expanduser().resolve() if named else Path.home() / USUAL_BOOK


def main():
    """Start JupyterLab in this process; it ends with Ctrl-C."""
    from jupyterlab.labapp import main as lab

    book = book_path(sys.argv[1:])
    book.parent.mkdir(parents=True, exist_ok=True)
    os.environ[BOOK_VARIABLE] = str(book)  # the notebooks' kernels are started with it
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join(
        filter(None, [str(CONFIG), os.environ.get("JUPYTER_CONFIG_PATH")])
    )
    lab(arguments(sys.argv[1:]))
