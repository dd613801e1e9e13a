"""What the service asks of the record about captures of an oscilloscope (parts of `ports.Reader` and `ports.Work`)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol


@dataclass(frozen=True, slots=True)
class KeptCapture:
    """What a file showed (`scope.told.told`), not the file. `kept_s`: when it was handed in [POSIX s]."""

    id: int
    site: str
    chime: str
    kept_s: float
    name: str  # of the file
    answer: dict[str, Any]


class CaptureReader(Protocol):
    """Part of `ports.Reader`."""

    def captures(self, site: str, chime: str | None = None, limit: int = 100) -> Sequence[KeptCapture]:
        """Newest first."""
        ...

    def capture(self, site: str, number: int) -> KeptCapture:
        """Raises NotFound."""
        ...


class CaptureWork(Protocol):
    """Part of `ports.Work`."""

    def add_capture(self, site: str, chime: str, kept_s: float, name: str, answer: dict[str, Any], most: int) -> int:
        """Its number. Beyond `most` of a chime the oldest go. Raises NotFound for a chime that has never been heard."""
        ...

    def remove_capture(self, site: str, number: int) -> None:
        """Raises NotFound."""
        ...
