"""A desk with one thread: the most urgent work first, and of a page's wishes of a kind only the newest waits."""

from __future__ import annotations

import threading
import traceback
from collections.abc import Callable, Hashable
from itertools import count

Work = Callable[[], None]

FILE, COMMAND, WISH, AHEAD, IDLE = range(5)
"""How urgent work is: the file, what must not be lost, what is being looked at, what comes next, the rest."""


class Desk:
    """Work by keys: a newer piece takes the place of one of the same key that is not begun."""

    def __init__(self) -> None:
        self._waiting: dict[Hashable, tuple[int, int, Work, Callable[[], bool]]] = {}
        self._news = threading.Condition()
        self._numbers = count()
        self._is_open = True
        self._thread = threading.Thread(target=self._run, name="aimgeo live", daemon=True)

    def open(self) -> None:
        """Begin to work."""
        self._thread.start()

    def close(self) -> None:
        """Do nothing more; waits for the piece of work at hand."""
        with self._news:
            self._is_open = False
            self._waiting.clear()
            self._news.notify_all()
        if self._thread.is_alive():
            self._thread.join(timeout=10)

    def put(self, urgency: int, key: Hashable, work: Work, may_begin: Callable[[], bool] = lambda: True) -> None:
        """Lay down a piece of work, to be begun as soon as it may."""
        with self._news:
            self._waiting[key] = (urgency, next(self._numbers), work, may_begin)
            self._news.notify_all()

    def wake(self) -> None:
        """Look again at what may begin."""
        with self._news:
            self._news.notify_all()

    def waits(self, fits: Callable[[Hashable], bool]) -> bool:
        """True when work with such a key has not begun yet: what is at hand may be out of date."""
        with self._news:
            return any(fits(key) for key in self._waiting)

    def between(self, fits: Callable[[Hashable], bool]) -> None:
        """Do such work now, in the middle of a longer piece that calls this: it waits for nothing then."""
        with self._news:
            ready = [(n, key) for key, (_, n, _, may) in self._waiting.items() if fits(key) and may()]
            work = self._waiting.pop(min(ready)[1])[2] if ready else None
        if work is not None:
            _done(work)

    def _next(self) -> Work | None:
        with self._news:
            while self._is_open:
                ready = [(u, n, key) for key, (u, n, _, may) in self._waiting.items() if may()]
                if ready:
                    _, _, key = min(ready, key=lambda one: one[:2])
                    return self._waiting.pop(key)[2]
                self._news.wait()
        return None

    def _run(self) -> None:
        while (work := self._next()) is not None:
            _done(work)


def _done(work: Work) -> None:
    try:
        work()
    except Exception:  # noqa: BLE001 - one wish that fails must not end all the others; it is told and logged
        traceback.print_exc()
