"""Notices what no pack tells: that a chime has fallen silent or is heard again, and that somebody probably pressed unseen.

Looks at the record every few seconds and tells those who listen live, once. Knows no SQL.
"""

from dataclasses import dataclass, field

from service import telling
from service.model import BlindSpell, Unseen
from service.ports import Reader, Work

BACK_S = 6 * 3600.0
"""What began longer ago is no news, such as a gap in packs that were kept back for a day [s]."""

SETTLED_S = 10.0
"""A sign is told when the press that may explain it has had this long to come [s]."""


@dataclass(slots=True)
class Lookout:
    """`look` at regular times, each time in the writer's transaction. What it finds at first was there before, and is no news."""

    reader: Reader
    _spells: dict[tuple[str, str, float], BlindSpell] | None = None
    _unseen: list[Unseen] = field(default_factory=list)

    def look(self, work: Work, now_s: float) -> None:
        start_s, first = now_s - BACK_S, self._spells is None
        before, spells, unseen = self._spells or {}, dict[tuple[str, str, float], BlindSpell](), list[Unseen]()
        for site in self.reader.sites():
            for spell in self.reader.blind_spells(site.site, start_s, now_s, now_s):
                if spell.door is None:
                    spells[spell.site, spell.chime, round(spell.start_s)] = spell
            unseen += self.reader.unseen(site.site, start_s, now_s - SETTLED_S)
        if not first:
            for key, spell in spells.items():
                if _is_news(spell, before.get(key)):
                    work.add_event("blind", now_s, spell.site, spell.chime, telling.blind_spell(spell))
            for key, spell in before.items():
                if spell.end_s is None and key not in spells:  # what it kept back has come
                    over = telling.blind_spell(spell) | {"end": telling.rfc3339(now_s), "filled": True}
                    work.add_event("blind", now_s, spell.site, spell.chime, over)
            for one in unseen:
                if not any(_same(one, other) for other in self._unseen):
                    work.add_event("unseen", now_s, one.site, one.chime, telling.unseen(one))
        self._spells, self._unseen = spells, unseen


def _is_news(spell: BlindSpell, before: BlindSpell | None) -> bool:
    return before is None or (before.end_s is None) != (spell.end_s is None)


def _same(one: Unseen, other: Unseen) -> bool:
    """The same sign, though it may have been dated anew a little or have got another reason."""
    return (one.site, one.chime) == (other.site, other.chime) and abs(one.start_s - other.start_s) < SETTLED_S
