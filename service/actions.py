"""What a person may do: claim a chime, name things, have looked, say what was built in and when it was sound, who rang and who
is away.

Each is one transaction in the writer's thread.
"""

import json
from collections.abc import Callable, Iterable, Sequence
from math import floor
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.errors import Refused
from service.findings.testimony import SURVEY_S
from service.keeper import Keeper
from service.names import clean_name, clean_note
from service.ports import Work
from service.presses.away import Away
from service.senml import SIZE_LIMIT
from service.supply.fitout import read_fitout

SAME_LOOK_S = 1800.0
"""Page views closer than this are one look; it ends with the last of them [s]."""

AWAY_BEFORE_S, AWAY_AHEAD_S = 366 * 86_400.0, 731 * 86_400.0
"""Absences are taken in from a year ago to two years ahead [s]."""

SUMMARY_LIMIT = 200
"""Characters of what an absence is called."""

COMMISSIONED_WITHIN_S = 86400.0
"""A commissioning record is of one day's work, at the most [s]."""

WITH_SURVEY_S = 900.0
"""Whoever takes a survey as the commissioning record tries the buttons in this time after it [s]."""


def _nobody(site: str, chime: str) -> None:
    """Where chimes are not examined, nobody need know that one is due."""


class Actions:
    """Every action waits until it is in the record, and raises StoreUnavailable when it cannot be.

    Parameters
    ----------
    compared_anew : told the site and chime whose examinations are compared with something else from now on.
    """

    def __init__(self, keeper: Keeper, compared_anew: Callable[[str, str], None] = _nobody) -> None:
        self._keeper, self._compared_anew = keeper, compared_anew

    def claim(self, site: str, chime: str, name: str | None = None) -> None:
        """Take a chime that was heard as one's own; `name` names its site. Raises NotFound, Refused."""
        clean = clean_name(name) if name else None
        self._keeper.do(lambda work: work.claim(site, chime, clean))

    def rename_site(self, site: str, name: str, time_zone: str) -> None:
        """Raises NotFound; Refused for an unknown time zone or an unfit name."""
        clean = clean_name(name)
        try:
            ZoneInfo(time_zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise Refused(f"{time_zone!r} is no time zone of the IANA list, such as Europe/London.") from None
        self._keeper.do(lambda work: work.rename_site(site, clean, time_zone))

    def rename_door(self, site: str, chime: str, door: str, name: str) -> None:
        """Raises NotFound, Refused."""
        clean = clean_name(name)
        self._keeper.do(lambda work: work.rename_door(site, chime, door, clean))

    def look(self, site: str, person: str, now_s: float) -> None:
        """This person looks at this house now. Raises NotFound."""
        self._keeper.do(lambda work: work.look(site, person, now_s, SAME_LOOK_S))

    def keep_fitout(self, site: str, chime: str, sheet: dict[str, Any], by: str, now_s: float) -> None:
        """What was built in, as a fit-out sheet. Raises NotFound; SettingError for what cannot be; Refused for an unfit name."""
        text = json.dumps(sheet)
        if len(text) > SIZE_LIMIT:
            raise Refused(f"A fit-out sheet has at most {SIZE_LIMIT} bytes.")
        read_fitout(text)
        clean = clean_name(by) if by else ""
        self._keeper.do(lambda work: work.keep_fitout(site, chime, sheet, now_s, clean))
        self._compared_anew(site, chime)

    def commission(self, site: str, chime: str, stretch_s: tuple[float, float] | None, by: str, now_s: float) -> None:
        """Take the testimony of a stretch, or (None) the newest survey and what came with it, as the commissioning record.

        Earlier records stay; the one taken last counts. Raises NotFound; Refused where there is no such testimony.
        """
        clean = clean_name(by) if by else "somebody"
        if stretch_s is not None and not 0.0 <= stretch_s[1] - stretch_s[0] <= COMMISSIONED_WITHIN_S:
            raise Refused("A commissioning record ends after it begins, at most a day later.")

        def take(work: Work) -> None:
            start_s, end_s = stretch_s or _newest_survey(work.survey_moments(site, chime, 100))
            if not work.commission(site, chime, start_s, end_s, now_s, clean):
                raise Refused("The chime told nothing of its supply or its buttons in that time.")

        self._keeper.do(take)
        self._compared_anew(site, chime)

    def note_visit(self, site: str, visit_id: int, who: str, note: str, by: str, now_s: float) -> None:
        """Say who it was and what there is to note; nothing of both removes what was said. Raises NotFound, Refused."""
        named, noted = clean_name(who) if who.strip() else None, clean_note(note) or None
        clean = clean_name(by) if by else "somebody"
        self._keeper.do(lambda work: work.put_note(site, visit_id, named, noted, clean, now_s))

    def replace_away(self, site: str, person: str, aways: Iterable[Away], now_s: float) -> None:
        """Absences in place of all there are of this person from a year ago to two years ahead. Raises NotFound, Refused."""
        clean = clean_name(person)
        self._keeper.do(lambda work: work.replace_away(site, clean, aways, now_s - AWAY_BEFORE_S, now_s + AWAY_AHEAD_S))

    def add_away(self, site: str, person: str, summary: str, start_s: float, end_s: float, now_s: float) -> None:
        """One absence by hand; the same one twice is one. Raises NotFound, Refused."""
        if not now_s - AWAY_BEFORE_S <= start_s < end_s <= now_s + AWAY_AHEAD_S:
            raise Refused("An absence begins before it ends, within the last year and the next two.")
        clean = clean_name(person)
        away = Away(f"by-hand-{floor(start_s)}-{floor(end_s)}", clean_note(summary, SUMMARY_LIMIT), start_s, end_s)
        self._keeper.do(lambda work: work.add_away(site, clean, away))

    def remove_away(self, site: str, person: str, uid: str) -> None:
        """An absence with all its recurrences. Raises NotFound, Refused."""
        clean = clean_name(person)
        self._keeper.do(lambda work: work.remove_away(site, clean, uid))


def _newest_survey(newest_first: Sequence[float]) -> tuple[float, float]:
    if not newest_first:
        raise Refused("This chime has never sent a survey, with its test load or while sounding.")
    first = last = newest_first[0]
    for moment in newest_first:
        if first - moment > SURVEY_S:
            break
        first = moment
    return first, last + WITH_SURVEY_S
