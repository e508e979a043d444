"""The command ``linetilt``: JupyterLab on the kit's notebooks and the fitter's book, with room for uploaded photos."""

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from .. import __version__
from ..base.errors import InputError, LinetiltError
from ..session.which_book import BOOK_VARIABLE, USUAL_BOOK
from .own_folder import working_folder

# All photos of one upload together. JupyterLab's own limit is 10 MiB; what is larger vanishes without a word.
UPLOAD_BYTES = 200 * 2**20
# Has JupyterLab not ask the net for news and newer versions: nothing leaves the machine.
CONFIG = Path(__file__).parent / "jupyter"
FIRST = "1_marking_setup.ipynb"
BOOK_END, NOTEBOOK_END = ".linetilt", ".ipynb"
HELP = f"""linetilt {__version__}: opens JupyterLab on the fitting notebooks.

    linetilt                           the first notebook
    linetilt 3_lie_table.ipynb         another one of the kit's, or one of your own, from any folder
    linetilt wednesday.linetilt        another book than the usual one, {Path("~") / USUAL_BOOK}

An installed kit copies its notebooks to {Path("~") / USUAL_BOOK.parent}; what you change there stays.
All other options are JupyterLab's own, such as --no-browser and --port=8890: see jupyter lab --help."""


def notebook_path(given: Sequence[str] = (), *, root: Path) -> Path:
    """Return the notebook to begin with: the one named, here or among the kit's, else the first one of the kit.

    Parameters
    ----------
    given : sequence of str
        What was typed after the command.
    root : path
        The folder that holds `notebooks`.

    Raises
    ------
    InputError
        Where there is no such notebook, or where several are named.
    """
    names = [name for name in given if name.endswith(NOTEBOOK_END)]
    if len(names) > 1:
        raise InputError(
            f"{len(names)} notebooks are named ({', '.join(names)}); expected one; open the others from the list of "
            "files in JupyterLab"
        )
    places = [Path(names[0]).expanduser(), root / "notebooks" / names[0]] if names else [root / "notebooks" / FIRST]
    for place in places:
        if place.is_file():
            return Path(os.path.abspath(place))
    kits = ", ".join(sorted(file.name for file in (root / "notebooks").glob(f"*{NOTEBOOK_END}"))) or "none is there"
    raise InputError(
        f"there is no notebook {str(places[0])!r}; expected the path of one of your own, or one of the kit's ({kits}); "
        "look at its name and folder"
    )


def arguments(given: Sequence[str] = (), *, root: str | Path) -> list[str]:
    """Return the arguments with which JupyterLab is started.

    Parameters
    ----------
    given : sequence of str
        A notebook to begin with, by name or path, a book (see `book_path`), and any of JupyterLab's own options.
    root : path
        The folder that holds `notebooks`. JupyterLab shows it, or the folder of a notebook that lies elsewhere.

    Raises
    ------
    InputError
        See `notebook_path`.
    """
    root = Path(os.path.abspath(root))
    notebook = notebook_path(given, root=root)
    shown = root if notebook.is_relative_to(root) else notebook.parent
    return [
        str(notebook),
        f"--ServerApp.root_dir={shown}",
        f"--ServerApp.tornado_settings={{'websocket_max_message_size': {UPLOAD_BYTES}}}",
        *(name for name in given if not name.endswith((NOTEBOOK_END, BOOK_END))),
    ]


def book_path(given: Sequence[str] = ()) -> Path:
    """Return the book that all notebooks share.

    It is the one given, as a name that ends in ``.linetilt``, else what the environment names, else
    ``linetilt/shop.linetilt`` in the user's own folder.
    """
    named = next((name for name in given if name.endswith(BOOK_END)), os.environ.get(BOOK_VARIABLE))
    return Path(named).expanduser().resolve() if named else Path.home() / USUAL_BOOK


def main() -> None:
    """Start JupyterLab in this process; it ends with Ctrl-C."""
    given = sys.argv[1:]
    if {"-h", "--help"} & set(given):
        print(HELP)
        return
    try:
        book = book_path(given)
        book.parent.mkdir(parents=True, exist_ok=True)
        root, said = working_folder(Path.home() / USUAL_BOOK.parent)
        command = arguments(given, root=root)
    except LinetiltError as error:
        raise SystemExit(f"linetilt: {error}") from None
    except OSError as error:
        raise SystemExit(
            f"linetilt: the folder of the book cannot be made ({error}); expected a folder of your own with free "
            "space; name another book, such as: linetilt D:/fitting/shop.linetilt"
        ) from None
    print(*said, sep="\n", end="\n" if said else "")
    os.environ[BOOK_VARIABLE] = str(book)  # the notebooks' kernels are started with it
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join(
        filter(None, [str(CONFIG), os.environ.get("JUPYTER_CONFIG_PATH")])
    )
    from jupyterlab.labapp import main as lab

    lab(command)
