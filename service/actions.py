"""What a person may do: claim a chime, name things, have looked. Each is one transaction in the writer's thread."""

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.errors import Refused
from service.keeper import Keeper

SAME_LOOK_S = 1800.0
"""Page views closer than this are one look; it ends with the last of them [s]."""

NAME_LIMIT = 60
"""Characters of a name: one line on a phone."""


class Actions:
    """Every action waits until it is in the record, and raises StoreUnavailable when it cannot be."""

    def __init__(self, keeper: Keeper) -> None:
        self._keeper = keeper

    def claim(self, site: str, chime: str, name: str | None = None) -> None:
        """Take a chime that was heard as one's own; `name` names its site. Raises NotFound, Refused."""
        clean = _name(name) if name else None
        self._keeper.do(lambda work: work.claim(site, chime, clean))

    def rename_site(self, site: str, name: str, time_zone: str) -> None:
        """Raises NotFound; Refused for an unknown time zone or an unfit name."""
        clean = _name(name)
        try:
            ZoneInfo(time_zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise Refused(f"{time_zone!r} is no time zone of the IANA list, such as Europe/London.") from None
        self._keeper.do(lambda work: work.rename_site(site, clean, time_zone))

    def rename_door(self, site: str, chime: str, door: str, name: str) -> None:
        """Raises NotFound, Refused."""
        clean = _name(name)
        self._keeper.do(lambda work: work.rename_door(site, chime, door, clean))

    def look(self, site: str, person: str, now_s: float) -> None:
        """This person looks at this house now. Raises NotFound."""
        self._keeper.do(lambda work: work.look(site, person, now_s, SAME_LOOK_S))


def _name(text: str) -> str:
    clean = " ".join(text.split())
    if not clean or len(clean) > NAME_LIMIT or not clean.isprintable():
        raise Refused(f"A name has 1 to {NAME_LIMIT} printable characters.")
    return clean
