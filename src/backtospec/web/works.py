"""Work that takes long: it goes on when the page is left, and can be looked at again."""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

from backtospec.web.fields import Sent

_MOST_KEPT = 200


@dataclass(frozen=True, slots=True)
class Work:
    """One piece of work.

    Parameters
    ----------
    job_id
        The job it belongs to.
    title
        What is being done, in words.
    back
        The page it was begun from.
    sent
        The form that began it, so that nothing typed is lost where it fails.
    """

    id: str
    job_id: str
    title: str
    back: str
    began: float
    future: Future[str]
    sent: Sent | None = None

    @property
    def seconds(self) -> float:
        """How long it has been going on."""
        return time.monotonic() - self.began

    @property
    def done(self) -> bool:
        """Whether it has come to an end, good or bad."""
        return self.future.done()


class Works:
    """Does one piece of long work after another: two at once would only slow each other."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(1, "long-work")
        self._known: dict[str, Work] = {}
        self._lock = threading.Lock()

    def begin(
        self, job_id: str, title: str, back: str, work: Callable[[], str], sent: Sent | None = None
    ) -> Work:
        """Begin a piece of work, which returns the address of the page to go to when done."""
        with self._lock:
            for old in [w.id for w in self._known.values() if w.done][:-_MOST_KEPT]:
                del self._known[old]
            future = self._pool.submit(work)
            begun = Work(secrets.token_hex(6), job_id, title, back, time.monotonic(), future, sent)
            self._known[begun.id] = begun
        return begun

    def find(self, work_id: str) -> Work | None:
        """Return a piece of work, or ``None`` where it is not known (any more)."""
        return self._known.get(work_id)

    def of_job(self, job_id: str) -> tuple[Work, ...]:
        """Return the work of a job that still goes on."""
        return tuple(w for w in list(self._known.values()) if w.job_id == job_id and not w.done)

    def close(self) -> None:
        """Let nothing more begin."""
        self._pool.shutdown(wait=False, cancel_futures=True)
