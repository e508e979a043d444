"""Files that are whole or not there at all, and a sentence where the disk refuses one."""

import os
import uuid
from pathlib import Path

from .errors import BookError


def write_whole(path: str | os.PathLike[str], content: bytes, what: str = "the file") -> None:
    """Write a file so that nobody ever sees half of it, and so that it survives a crash once this has returned.

    It is written beside its name, forced to the disk, then renamed. A file that holds this already stays as it is.

    Parameters
    ----------
    path : path
        Its folder is made where there is none.
    content : bytes
    what : str
        What the sentence calls it.

    Raises
    ------
    BookError
        Saying why the disk refuses; what stood under that name before is then as it was.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     write_whole(Path(folder, "new", "note.txt"), b"wiped the face")
    ...     Path(folder, "new", "note.txt").read_bytes()
    b'wiped the face'
    """
    path = Path(path)
    try:
        if not path.parent.is_dir():
            path.parent.mkdir(parents=True, exist_ok=True)
            _sync_folder(path.parent.parent)
        if not (path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content):
            _write_beside(path, content)
        _sync_folder(path.parent)
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        reason = getattr(error, "strerror", None) or error
        raise BookError(
            f"{what} could not be kept as {str(path)!r} ({reason}); expected a folder with free space in which you may "
            "write; free some space or choose another folder, then do it again"
        ) from error


def _write_beside(path: Path, content: bytes) -> None:
    beside = path.parent / f".{uuid.uuid4().hex}.part"
    try:
        with open(beside, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def _sync_folder(folder: Path) -> None:
    """Force a folder's list of names to the disk (not needed, and not possible, on Windows)."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
