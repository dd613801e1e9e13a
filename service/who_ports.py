"""What the service asks of the record about who rang: notes on visits, taught cadences, absences.

The values it is answered with stand first, then the questions (a part of `ports.Reader`) and the writing (a part of `ports.Work`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from service import model
from service.presses.away import Away
from service.presses.cadence import Cadence, Interval


@dataclass(frozen=True, slots=True)
class Taught:
    """A cadence of a house, and from when on it counts."""

    cadence: Cadence
    taught_s: float
    by: str


def intervals(presses: Iterable[model.Press]) -> list[Interval]:
    """Presses as cadences see them: doubtful ones left out, and no end where it is not known."""
    return [(one.start_s, None if one.cut_off else one.end_s) for one in presses if not one.doubtful]


class WhoReader(Protocol):
    """Part of `ports.Reader`. A site that has never been heard has no cadences and no absences."""

    def visit(self, site: str, visit_id: int) -> model.Visit:
        """Raises NotFound."""
        ...

    def visits_noted(self, site: str, words: Sequence[str], limit: int = 100) -> Sequence[model.Visit]:
        """The newest visits of which a person has said something, and where what was said and the door's name have all these
        words between them; words case folded, visits in no order."""
        ...

    def cadences(self, site: str) -> Sequence[Taught]:
        """By name."""
        ...

    def away(self, site: str, person: str, start_s: float, end_s: float) -> Sequence[Away]:
        """This person's absences of which any part lies in the stretch, whole; oldest first."""
        ...


class WhoWork(Protocol):
    """Part of `ports.Work`. Raises NotFound for a site, visit, cadence or absence that is not in the record."""

    def put_note(self, site: str, visit_id: int, who: str | None, note: str | None, by: str, at_s: float) -> None:
        """What a person says of a visit, in place of what was said before; nothing at all removes it.

        Raises Refused where no kept pack is known to tell of this visit alone: then it could not be found again.
        """
        ...

    def put_cadence(self, site: str, taught: Taught) -> None:
        """In place of the one of the same name."""
        ...

    def remove_cadence(self, site: str, name: str) -> None: ...

    def replace_away(self, site: str, person: str, aways: Iterable[Away], start_s: float, end_s: float) -> None:
        """In place of all absences of this person that touch the stretch."""
        ...

    def add_away(self, site: str, person: str, away: Away) -> None:
        """The same one again changes nothing but its summary and end."""
        ...

    def remove_away(self, site: str, person: str, uid: str) -> None:
        """With all its recurrences."""
        ...
