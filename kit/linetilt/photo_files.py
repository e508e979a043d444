"""The photos that have arrived: in the folder that a phone syncs into, and in the inbox beside a book where uploads wait."""

import hashlib
import os
import re
import uuid
from pathlib import Path

from .errors import InputError
from .photo_names import PHOTO_ENDS


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
    """Photos by name: the path within the folder, or "uploaded/" and the name in the inbox. A file that still grows is left out.

    Parameters
    ----------
    folder : Path or None
    inbox : Path
        Made when the first upload comes.
    """

    def __init__(self, folder, inbox):
        self.folder, self.inbox = folder, inbox
        self._stamps, self._whole, self._digests = {}, {}, {}  # by name: size and time at the last look; path and size of what is whole; its digest

    def look(self, settled=False):
        """Look into the folders; return the names that are new or changed since the last look, once their files have stopped growing.

        With `settled` every file counts as whole.
        """
        came = []
        for name, path in self._files():
            try:
                status = path.stat()
            except OSError:  # gone again
                continue
            stamp = status.st_size, status.st_mtime_ns
            known, self._stamps[name] = self._stamps.get(name), stamp
            if name in self._whole and known == stamp:
                continue
            if settled or known == stamp:
                self._digests.pop(name, None)
                self._whole[name] = path, status.st_size
                came.append(name)
        return came

    def receive(self, name, content):
        """Put an uploaded photo into the inbox and return its name; one that is there already keeps the name that it has.

        Raises
        ------
        InputError
            Where the name is not that of a photo.
        """
        name = re.sub(r"[^\w. ()-]", "_", Path(str(name).replace("\\", "/")).name).lstrip(".") or "photo.jpg"
        content = bytes(content)
        if Path(name).suffix.lower() not in PHOTO_ENDS:
            raise InputError(f"{name} is no photo; expected a file that ends in {', '.join(PHOTO_ENDS)}")
        digest = hashlib.sha256(content).hexdigest()
        if same := self.same(len(content), digest):
            return same
        self.inbox.mkdir(exist_ok=True)
        final = self.inbox / name
        if final.exists():
            final = self.inbox / f"{final.stem}-{digest[:8]}{final.suffix}"
        beside = self.inbox / f".{uuid.uuid4().hex}.part"
        beside.write_bytes(content)
        os.replace(beside, final)
        name, status = f"uploaded/{final.name}", final.stat()
        self._whole[name], self._digests[name], self._stamps[name] = (final, len(content)), digest, (status.st_size, status.st_mtime_ns)
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

    def same(self, size, digest, but=None):
        """Return the name of another photo with that content, or None."""
        return next((name for name, (_, known) in self._whole.items() if known == size and name != but and self.digest(name) == digest), None)

    def is_copy(self, name):
        """True where another photo has the same content."""
        return self.same(self._whole[name][1], self.digest(name), but=name) is not None

    def done(self, path):
        """Take a photo that the book has a copy of out of the inbox; in the phone's own folder it stays."""
        if path.parent == self.inbox:
            for name, (known, _) in self._whole.items():
                if known == path:
                    self.digest(name)
            path.unlink(missing_ok=True)

    def _files(self):
        for folder, start in ((self.folder, ""), (self.inbox, "uploaded/")):
            if folder is None or not folder.is_dir():
                continue
            for path in sorted(folder.rglob("*")):
                inside = path.relative_to(folder)
                if path.suffix.lower() in PHOTO_ENDS and not any(part.startswith(".") for part in inside.parts) and path.is_file():
                    yield start + inside.as_posix(), path
