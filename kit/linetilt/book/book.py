"""SessionBook: one SQLite file that keeps golfers, bags, sessions, shots, plans handed out and bends; the photos lie
beside it."""

from .looking import Looking


class SessionBook(Looking):
    """A shop's or coach's book, in one file; a context manager.

    Parameters
    ----------
    path : path
        The book, usually named ``something.linetilt``; made where there is none. Photos go to the folder
        ``something.linetilt-photos`` beside it, each under the SHA-256 of its content.
    wait_s : float
        How long a write waits for another process that is writing, in seconds.

    Raises
    ------
    BookError
        When the file is no book, is damaged, was made by a newer kit, or cannot be opened.

    Notes
    -----
    Every method that writes is one transaction: when it has returned, its entry survives a crash; when it raises,
    nothing of it was kept. Corrections and undo keep what they replace (`history`). Identifiers are whole numbers and
    are never used twice; what came first is told by them, never by a clock.

    Only facts are kept. What follows from them, lie readings, fits and plans, is in `linetilt.session`.
    """

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()
