"""What the service asks of the record about requests to chimes (parts of `ports.Reader` and `ports.Work`)."""

from collections.abc import Sequence
from typing import Protocol

from service.asks import Ask, AskState


class AskReader(Protocol):
    """Part of `ports.Reader`."""

    def asks(self, site: str, chime: str, limit: int = 100) -> Sequence[Ask]:
        """Newest first."""
        ...

    def open_asks(self, since_s: float) -> Sequence[Ask]:
        """Of all chimes, those since then that may still be answered, oldest first."""
        ...


class AskWork(Protocol):
    """Part of `ports.Work`."""

    def add_ask(self, ask: Ask) -> int:
        """Its number. Raises NotFound for a chime that has never been heard."""
        ...

    def end_ask(self, ask_id: int, state: AskState, ended_s: float, told: str) -> None: ...
