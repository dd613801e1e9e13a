"""What the service answers over its API: the press log, blind time, its own health. Believes all it reads."""

import json
import urllib.error
import urllib.parse
import urllib.request
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

WIDE = timedelta(days=1)
"""To both sides of now: a press that is dated an hour wrong shall be seen too."""


class Logged(NamedTuple):
    """A press as the log has it. [POSIX s]"""

    chime: str
    door: str
    start_s: float
    end_s: float | None
    pulses: int | None
    uncertainty_s: float


class Spell(NamedTuple):
    """A blind interval as it is told. `end_s` is None while it lasts; `door` None: at every door."""

    chime: str
    start_s: float
    end_s: float | None
    why: str
    door: str | None = None


class Api:
    def __init__(self, http: int) -> None:
        self._base = f"http://127.0.0.1:{http}/api/v1"

    def health(self) -> dict[str, Any]:
        """Raises OSError where it does not answer."""
        return self._get("/health")

    def presses(self, site: str) -> list[Logged]:
        """All, page by page."""
        found: list[Logged] = []
        now, cursor = datetime.now(UTC), None
        while True:
            words = {"start": (now - WIDE).isoformat(), "end": (now + WIDE).isoformat(), "limit": "1000"}
            if cursor is not None:
                words["cursor"] = cursor
            page = self._get(f"/sites/{site}/presses", **words)
            found += [
                Logged(
                    press["chime"],
                    press["door"],
                    _time_s(press["start"]),
                    _time_s(press["end"]) if press["end"] else None,
                    press["pulses"],
                    press["uncertainty_s"],
                )
                for press in page["presses"]
            ]
            cursor = page["next"]
            if cursor is None:
                return found

    def blind(self, site: str) -> list[Spell]:
        now = datetime.now(UTC)
        page = self._get(f"/sites/{site}/blind", start=(now - WIDE).isoformat(), end=(now + WIDE).isoformat())
        return [
            Spell(
                one["chime"],
                _time_s(one["start"]),
                _time_s(one["end"]) if one["end"] else None,
                one["why"],
                one.get("door"),
            )
            for one in page["blind"]
        ]

    def _get(self, path: str, **words: str) -> dict[str, Any]:
        query = "?" + urllib.parse.urlencode(words) if words else ""
        with urllib.request.urlopen(self._base + path + query, timeout=20) as answer:
            found: dict[str, Any] = json.load(answer)
            return found


def _time_s(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()
