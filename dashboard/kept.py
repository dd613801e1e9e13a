"""Answers that cost a look over years and hardly change: kept for some minutes. Knows no record and no page."""

import threading
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

from dashboard.language import language

T = TypeVar("T")

KEPT_S = 300.0
MOST = 32


class Kept:
    """`of(key, now_s, make)`: what `make` answered for this key, in this language, within `KEPT_S`. Safe from any thread."""

    def __init__(self) -> None:
        self._found: dict[Hashable, tuple[int, Any]] = {}
        self._lock = threading.Lock()

    def of(self, key: Hashable, now_s: float, make: Callable[[], T]) -> T:
        turn, key = int(now_s // KEPT_S), (language(), key)
        with self._lock:
            known = self._found.get(key)
        if known is not None and known[0] == turn:
            answer: T = known[1]
            return answer
        made = make()
        with self._lock:
            self._found[key] = (turn, made)
            while len(self._found) > MOST:
                self._found.pop(next(iter(self._found)))
        return made
