"""Long work beside the clicks: photos that wait are measured one by one, and the folder is looked into meanwhile."""

import contextlib
import queue
import threading

from ...base.errors import PhotoError


class Work(threading.Thread):
    """A thread that looks for arrivals and measures what waits; a new one for the same book ends the one before it.

    Parameters
    ----------
    path : path
        The book's.
    watch_s : float
        How long to wait between two looks for arrivals, in seconds.
    take : callable
        Measures the photo of that name; a `PhotoError` counts as refused.
    arrive : callable
        Looks for arrivals.
    progressed : callable
        Called as progressed(name, done, refused, total), before the first photo with None as its name.
    failed : callable
        Called with what went wrong otherwise.
    """

    def __init__(self, path, watch_s, *, take, arrive, progressed, failed):
        super().__init__(name=f"photos of {path.name}", daemon=True)
        self.path, self._watch_s, self._ended = path, watch_s, False
        self._take, self._arrive, self._progressed, self._failed = take, arrive, progressed, failed
        self._waiting, self._total, self._counts = queue.SimpleQueue(), 0, threading.Lock()
        for thread in threading.enumerate():  # the same cell run again
            if isinstance(thread, Work) and thread.path == path:
                thread.end()
        self.start()

    def add(self, names):
        """Have photos measured, after those that wait already."""
        with self._counts:
            for name in names:
                self._total += 1
                self._waiting.put(name)

    def cancel(self):
        """Forget what waits; the photo in hand is finished."""
        with self._counts, contextlib.suppress(queue.Empty):
            while True:
                self._waiting.get_nowait()
                self._total -= 1

    def end(self):
        """Stop for good, after the photo in hand."""
        self._ended = True
        self.cancel()
        self._waiting.put(None)

    def run(self):
        done = refused = 0
        while not self._ended:
            name = None
            try:
                with self._counts:
                    if done >= self._total:
                        done = refused = self._total = 0
                name = self._waiting.get(timeout=self._watch_s)
                if name is None:
                    return
                self._progressed(None, done, refused, self._total)
                self._take(name)
            except queue.Empty:
                self._guarded(self._arrive)
                continue
            except PhotoError:
                refused += 1  # the list says why
            except Exception as error:  # in a thread it would be invisible
                self._failed(error)
            done += 1
            self._guarded(self._progressed, name, done, refused, self._total)

    def _guarded(self, call, *arguments):
        try:
            call(*arguments)
        except Exception as error:
            self._failed(error)
