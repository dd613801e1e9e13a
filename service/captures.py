"""Files of an oscilloscope: looked at in a process of its own, beside the chime's fit-out sheet; what they showed is kept.

The files themselves are not. Knows no SQL and no page.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from service import outlooks
from service.capture_ports import KeptCapture
from service.errors import Refused, SettingError
from service.ports import Clock, Reader, Work
from service.supply.fitout import FitOut

T = TypeVar("T")

MOST = 60
"""Captures that are kept of a chime; then the oldest go."""


class Doing(Protocol):
    """Whoever writes (`keeper.Keeper`)."""

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T: ...


Apart = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class Handed:
    """A file and what was said of it. `point`: of `scope.naming.POINTS`, empty where nobody knows."""

    data: bytes
    name: str
    point: str = ""
    channel: str = ""
    step_s: float | None = None
    full_scale_v: float | None = None


@dataclass(frozen=True, slots=True)
class Captures:
    """`apart` runs a function in a process of its own."""

    reader: Reader
    keeper: Doing
    clock: Clock
    apart: Apart

    def look(self, site: str, chime: str, handed: Handed) -> dict[str, Any]:
        """What the file shows, beside what the chime's sheet predicts. Raises Refused with a sentence, NotFound."""
        self.reader.chime(site, chime)
        sheets = self.reader.fitouts(site, chime, limit=1)
        answer: dict[str, Any] = self.look_with(handed, outlooks.sheet_of(self.reader, site, chime) if sheets else None)
        return answer

    def look_with(self, handed: Handed, sheet: FitOut | None) -> dict[str, Any]:
        try:
            answer: dict[str, Any] = self.apart(shown_by, handed, sheet)
        except SettingError as error:
            raise Refused(str(error)) from None
        return answer

    def keep(self, site: str, chime: str, handed: Handed) -> KeptCapture:
        """Looked at, and what it showed kept. Raises Refused, NotFound, StoreUnavailable."""
        answer, kept_s, name = self.look(site, chime, handed), self.clock(), handed.name[:120] or "capture"
        number = self.keeper.do(lambda work: work.add_capture(site, chime, kept_s, name, answer, MOST))
        return KeptCapture(number, site, chime, kept_s, name, answer)

    def remove(self, site: str, number: int) -> None:
        """Raises NotFound, StoreUnavailable."""
        self.keeper.do(lambda work: work.remove_capture(site, number))


def shown_by(handed: Handed, sheet: FitOut | None) -> dict[str, Any]:
    """What a file shows; for a process of its own. Raises SettingError."""
    from service.scope.told import look, told

    return told(
        look(
            handed.data,
            handed.point,
            channel=handed.channel or None,
            step_s=handed.step_s,
            full_scale_v=handed.full_scale_v,
            sheet=sheet,
        )
    )
