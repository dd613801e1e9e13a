"""Notices what no pack tells: that a chime has fallen silent or is heard again, and that somebody probably pressed unseen.

Looks at the record every few seconds, beside the writer, for what those who listen live are to be told, once. Knows no SQL.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from service import telling
from service.model import BlindSpell, Event, Unseen
from service.ports import Reader

BACK_S = 6 * 3600.0
"""What began longer ago is no news, such as a gap in packs that were kept back for a day [s]."""

SETTLED_S = 10.0
"""A sign is told when the press that may explain it has had this long to come [s]."""


BETWEEN_S = 0.02
"""It rests this long between two houses, so that presses pass on their way (chosen) [s]."""


@dataclass(slots=True)
class Lookout:
    """`look` at regular times, from one thread. What it finds at first was there before, and is no news.

    Parameters
    ----------
    rest : called with how long to wait between two houses [s].
    """

    reader: Reader
    rest: Callable[[float], object] = lambda _: None
    _spells: dict[tuple[str, str, float], BlindSpell] | None = None
    _unseen: list[Unseen] = field(default_factory=list)

    def look(self, now_s: float) -> list[Event]:
        """What is to be told now, still without a number."""
        start_s, first = now_s - BACK_S, self._spells is None
        before, spells, unseen = self._spells or {}, dict[tuple[str, str, float], BlindSpell](), list[Unseen]()
        for site in self.reader.sites():
            for chime in self.reader.chimes(site.site):
                for spell in self.reader.blind_of(chime, start_s, now_s):
                    spells[spell.site, spell.chime, round(spell.start_s)] = spell
            unseen += self.reader.unseen(site.site, start_s, now_s - SETTLED_S)
            self.rest(BETWEEN_S)
        news: list[Event] = []
        if not first:
            for key, spell in spells.items():
                if _is_news(spell, before.get(key)):
                    news.append(Event(0, now_s, "blind", spell.site, spell.chime, telling.blind_spell(spell)))
            for key, spell in before.items():
                if spell.end_s is None and key not in spells:  # what it kept back has come
                    over = telling.blind_spell(spell) | {"end": telling.rfc3339(now_s), "filled": True}
                    news.append(Event(0, now_s, "blind", spell.site, spell.chime, over))
            news += [
                Event(0, now_s, "unseen", one.site, one.chime, telling.unseen(one))
                for one in unseen
                if not any(_same(one, other) for other in self._unseen)
            ]
        self._spells, self._unseen = spells, unseen
        return news


def _is_news(spell: BlindSpell, before: BlindSpell | None) -> bool:
    return before is None or (before.end_s is None) != (spell.end_s is None)


def _same(one: Unseen, other: Unseen) -> bool:
    """The same sign, though it may have been dated anew a little or have got another reason."""
    return (one.site, one.chime) == (other.site, other.chime) and abs(one.start_s - other.start_s) < SETTLED_S
