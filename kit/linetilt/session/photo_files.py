"""The photos that have arrived: in the folder that a phone syncs into, and in the inbox beside a book where uploads
wait."""

import hashlib
import os
import stat
from contextlib import suppress
from pathlib import Path

from ..base.errors import InputError
from ..base.files import write_whole
from .photo_names import PHOTO_ENDS, safe_name


def photo_folder(folder):
    """Return a folder's path.

    Raises
    ------
    InputError
        Where there is none.
    """
    path = Path(folder).expanduser()
    if not str(folder).strip() or not path.is_dir():
        raise InputError(f"there is no folder {folder}; expected the folder in which the phone's photos arrive")
    return path


class PhotoFiles:
    """Photos by name: the path within the folder, or "uploaded/" and the name in the inbox. A file that still grows is
    left out.

    Parameters
    ----------
    folder : Path or None
    inbox : Path
        Made when the first upload comes.
    """

    def __init__(self, folder, inbox):
        self.folder, self.inbox = folder, inbox
        self._stamps, self._whole, self._digests = (
            {},
            {},
            {},
        )  # by name: size and time at the last look; path and size of what is whole; its digest
        self._by_size = {}  # names

    def look(self, settled=False):
        """Look into the folders; return the names that are new or changed since the last look, once their files have
        stopped growing.

        With `settled` every file counts as whole.
        """
        came = []
        for name, path, size, changed_ns in self._files():
            stamp = size, changed_ns
            known, self._stamps[name] = self._stamps.get(name), stamp
            if name in self._whole and known == stamp:
                continue
            if settled or known == stamp:
                self._digests.pop(name, None)
                self._note(name, Path(path), size)
                came.append(name)
        return came

    def receive(self, name, content):
        """Put an uploaded photo into the inbox and return its name; one that is there already keeps the name that it
        has.

        Raises
        ------
        InputError
            Where the name is not that of a photo.
        """
        name = safe_name(name)
        content = bytes(content)
        if Path(name).suffix.lower() not in PHOTO_ENDS:
            raise InputError(f"{name} is no photo; expected a file that ends in {', '.join(PHOTO_ENDS)}")
        digest = hashlib.sha256(content).hexdigest()
        if same := self._same(len(content), lambda: digest):
            return same
        final = self.inbox / name
        if final.exists():
            final = self.inbox / f"{final.stem}-{digest[:8]}{final.suffix}"
        write_whole(final, content, "the uploaded photo")
        name, status = f"uploaded/{final.name}", final.stat()
        self._note(name, final, len(content))
        self._digests[name], self._stamps[name] = digest, (status.st_size, status.st_mtime_ns)
        return name

    def items(self):
        """Return (name, path, size in bytes) of every photo."""
        return [(name, path, size) for name, (path, size) in self._whole.items()]

    def path(self, name):
        """Return a photo's path, or None where there is none of that name."""
        return self._whole[name][0] if name in self._whole else None

    def digest(self, name):
        """Return the SHA-256 of a photo's content, or its name where the file is gone."""
        if name not in self._digests:
            try:
                self._digests[name] = hashlib.sha256(self._whole[name][0].read_bytes()).hexdigest()
            except OSError:
                return name
        return self._digests[name]

    def is_copy(self, name):
        """True where another photo has the same content."""
        return self._same(self._whole[name][1], lambda: self.digest(name), but=name) is not None

    def done(self, path):
        """Take a photo that the book has a copy of out of the inbox; in the phone's own folder it stays."""
        if path.parent == self.inbox:
            for name, (known, _) in self._whole.items():
                if known == path:
                    self.digest(name)
            path.unlink(missing_ok=True)

    def _note(self, name, path, size):
        self._whole[name] = path, size
        self._by_size.setdefault(size, set()).add(name)

    def _same(self, size, digest, but=None):
        """The name of another photo of that size whose digest is what `digest()` returns, or None."""
        names = [name for name in self._by_size.get(size, ()) if name != but and self._whole[name][1] == size]
        return next((name for name in names if self.digest(name) == digest()), None)

    def _files(self):
        """Return name, path, size and time of every photo's file; by `os.scandir`, since a folder of 20,000 is gone
        through every few seconds."""
        files = []
        for folder, start in ((self.folder, ""), (self.inbox, "uploaded/")):
            waiting, first = [(folder, start)] if folder is not None else [], len(files)
            while waiting:
                inside, start = waiting.pop()
                with (
                    suppress(OSError),
                    os.scandir(inside) as found,
                ):  # a folder that is not there, gone again or closed to us
                    for file in found:
                        if file.name.startswith("."):
                            continue
                        if file.is_dir(follow_symlinks=False):
                            waiting.append((file.path, f"{start}{file.name}/"))
                        elif file.name.lower().endswith(PHOTO_ENDS):
                            with suppress(OSError):
                                status = file.stat()
                                if stat.S_ISREG(status.st_mode):
                                    files.append((f"{start}{file.name}", file.path, status.st_size, status.st_mtime_ns))
            files[first:] = sorted(files[first:])
        return files
