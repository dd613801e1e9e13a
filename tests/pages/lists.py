"""A Reader that answers from lists, and does what a person may do to them. Invented for tests."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from service import model
from service.errors import NotFound, Refused, StoreUnavailable
from service.finding_ports import Commissioning, Examination, KeptSheet, QuantityPoint
from service.findings.life import Held
from service.names import clean_name, clean_note
from service.presses import unseen
from service.presses.away import Away
from service.presses.visits import answered
from service.who_ports import Taught

LONDON = ZoneInfo("Europe/London")
SITE, CHIME = "tern-cottage", "hall"


def at(text: str) -> float:
    """`25 Nov 2026 09.14` or `25 Nov 2026 09.14.30`, London time, as POSIX seconds."""
    form = "%d %b %Y %H.%M.%S" if text.count(".") == 2 else "%d %b %Y %H.%M"
    return datetime.strptime(text, form).replace(tzinfo=LONDON).timestamp()


NOW_S = at("25 Nov 2026 18.20")


@dataclass
class Record:
    """What the house's record holds; tests fill in what they need. Satisfies what pages ask of `ports.Reader`."""

    site_list: list[model.Site] = field(default_factory=lambda: [model.Site(SITE, "Tern Cottage", "Europe/London")])
    chime_list: list[model.Chime] = field(default_factory=list)
    door_list: list[model.Door] = field(default_factory=list)
    press_list: list[model.Press] = field(default_factory=list)
    sounding_list: list[model.Sounding] = field(default_factory=list)
    blind_list: list[model.BlindSpell] = field(default_factory=list)
    boot_list: list[model.Boot] = field(default_factory=list)
    point_list: list[model.SupplyPoint] = field(default_factory=list)
    burst_list: list[model.Burst] = field(default_factory=list)
    set_aside_list: list[model.SetAside] = field(default_factory=list)
    finding_list: list[Held] = field(default_factory=list)
    commissioning_list: list[Commissioning] = field(default_factory=list)
    sheet_list: list[KeptSheet] = field(default_factory=list)
    quantity_list: list[QuantityPoint] = field(default_factory=list)
    examination_list: list[Examination] = field(default_factory=list)
    redating_list: list[model.Redating] = field(default_factory=list)
    notes: dict[int, tuple[str | None, str | None]] = field(default_factory=dict)
    cadence_of: dict[int, str] = field(default_factory=dict)
    unseen_list: list[model.Unseen] = field(default_factory=list)
    cadence_list: list[Taught] = field(default_factory=list)
    away_list: list[tuple[str, Away]] = field(default_factory=list)
    looks: dict[tuple[str, str], float] = field(default_factory=dict)
    looked: list[tuple[str, str, float]] = field(default_factory=list)
    trouble: str | None = None
    said_by: str = ""
    clock: Callable[[], float] = lambda: NOW_S
    visit_count: int = 0

    # filling

    def rang(
        self,
        door: str,
        when: str,
        lengths_s: Sequence[float] = (0.3,),
        every_s: float = 8.0,
        doubtful: bool = False,
        sounds: bool = True,
        uncertainty_s: float = 0.01,
    ) -> None:
        self.visit_count += 1
        for number, length_s in enumerate(lengths_s):
            start_s = at(when) + number * every_s
            self.press_list.append(
                model.Press(
                    len(self.press_list) + 1,
                    self.visit_count,
                    SITE,
                    CHIME,
                    door,
                    start_s,
                    start_s + length_s,
                    uncertainty_s,
                    "edges",
                    max(1, round(length_s * 50)),
                    0,
                    False,
                    "doubtful" if doubtful else "sure",
                )
            )
            if sounds:
                self.sound(start_s)

    def sound(self, start_s: float) -> None:
        self.sounding_list.append(model.Sounding(SITE, CHIME, start_s, start_s + 3.0))

    def blind(self, start: str, end: str) -> None:
        self.blind_list.append(model.BlindSpell(SITE, CHIME, at(start), at(end), "chime without power"))

    # answering

    def _check(self) -> None:
        if self.trouble:
            raise StoreUnavailable(self.trouble)

    def sites(self) -> Sequence[model.Site]:
        self._check()
        return self.site_list if any(chime.claimed for chime in self.chime_list) else []

    def site(self, site: str) -> model.Site:
        self._check()
        for one in self.site_list:
            if one.site == site:
                return one
        raise NotFound(f"no site {site!r} has been heard")

    def chimes(self, site: str | None = None, *, claimed: bool | None = None) -> Sequence[model.Chime]:
        return [c for c in self.chime_list if site in (None, c.site) and claimed in (None, c.claimed)]

    def chime(self, site: str, chime: str) -> model.Chime:
        return next(c for c in self.chime_list if (c.site, c.chime) == (site, chime))

    def doors(self, site: str, chime: str | None = None) -> Sequence[model.Door]:
        return [d for d in self.door_list if d.site == site and chime in (None, d.chime)]

    def presses(self, *args: object, **kwargs: object) -> tuple[Sequence[model.Press], str | None]:
        raise AssertionError("the pages ask for visits")

    def press(self, site: str, press_id: int) -> model.Press:
        raise AssertionError("the pages ask for visits")

    def visits(
        self,
        site: str,
        start_s: float,
        end_s: float,
        *,
        chime: str | None = None,
        door: str | None = None,
        cursor: str | None = None,
        limit: int = 100,
        newest_first: bool = False,
        least_presses: int = 1,
    ) -> tuple[Sequence[model.Visit], str | None]:
        sounds = [s.start_s for s in self.sounding_list]
        found = []
        for number in sorted({p.visit_id for p in self.press_list}):
            presses = tuple(p for p in self.press_list if p.visit_id == number)
            if door not in (None, presses[0].door) or len(presses) < least_presses:
                continue
            if presses[0].site == site and start_s <= presses[0].start_s < end_s:
                found.append(
                    model.Visit(
                        number,
                        site,
                        presses[0].chime,
                        presses[0].door,
                        presses[0].start_s,
                        max(p.end_s or p.start_s for p in presses),
                        answered((p.start_s for p in presses), sounds),
                        presses,
                        self.cadence_of.get(number),
                        *self.notes.get(number, (None, None)),
                    )
                )
        first = int(cursor or 0)
        found.sort(key=lambda visit: visit.start_s, reverse=newest_first)
        return found[first : first + limit], str(first + limit) if first + limit < len(found) else None

    def visit(self, site: str, visit_id: int) -> model.Visit:
        found, _ = self.visits(site, 0.0, 1e12, limit=100_000)
        for one in found:
            if one.id == visit_id:
                return one
        raise NotFound(f"no visit {visit_id} at {site!r}")

    def visits_noted(self, site: str, words: Sequence[str], limit: int = 100) -> Sequence[model.Visit]:
        found, _ = self.visits(site, 0.0, 1e12, limit=100_000)
        texts = {
            one.id: f"{one.who or ''} {one.note or ''} {one.door}".casefold() for one in found if one.who or one.note
        }
        return [one for one in found if one.id in texts and all(word in texts[one.id] for word in words)][-limit:]

    def cadences(self, site: str) -> Sequence[Taught]:
        return self.cadence_list

    def away(self, site: str, person: str, start_s: float, end_s: float) -> Sequence[Away]:
        return [a for who, a in self.away_list if who == person and a.start_s < end_s and a.end_s > start_s]

    def soundings(self, site: str, start_s: float, end_s: float, chime: str | None = None) -> Sequence[model.Sounding]:
        return [s for s in self.sounding_list if start_s <= s.start_s < end_s]

    def blind_spells(self, site: str, start_s: float, end_s: float, now_s: float) -> Sequence[model.BlindSpell]:
        return [b for b in self.blind_list if b.start_s < end_s and (b.end_s or now_s) > start_s]

    def boots(self, site: str, chime: str, start_s: float, end_s: float) -> Sequence[model.Boot]:
        return [b for b in self.boot_list if b.start_s < end_s and b.last_heard_s >= start_s]

    def supply(
        self, site: str, chime: str, start_s: float, end_s: float, step_s: float | None = None, limit: int = 10_000
    ) -> Sequence[model.SupplyPoint]:
        step_s = step_s or 60.0
        groups: dict[int, list[model.SupplyPoint]] = {}
        for point in self.point_list:
            if start_s <= point.end_s < end_s:
                groups.setdefault(int((point.end_s - start_s) // step_s), []).append(point)
        return [_joined(start_s + n * step_s, step_s, some) for n, some in sorted(groups.items())]

    def latest_supply(self, site: str, chime: str) -> model.SupplyPoint | None:
        return self.point_list[-1] if self.point_list else None

    def latest_bursts(self, site: str, chime: str) -> Sequence[model.Burst]:
        return self.burst_list

    def findings(
        self, site: str, chime: str | None = None, *, states: Sequence[str] = ("raised", "confirmed"), **_: object
    ) -> Sequence[Held]:
        return [one for one in self.finding_list if one.state in states and chime in (None, one.chime)]

    def examinations(self, site: str, chime: str | None = None) -> Sequence[Examination]:
        return [one for one in self.examination_list if chime in (None, one.chime)]

    def commissionings(self, site: str, chime: str) -> Sequence[Commissioning]:
        return self.commissioning_list

    def quantities(
        self,
        site: str,
        chime: str,
        name: str,
        start_s: float,
        end_s: float,
        limit: int = 1000,
        every_s: float | None = None,
    ) -> Sequence[QuantityPoint]:
        return [one for one in self.quantity_list if one.name == name and start_s <= one.at_s < end_s][:limit]

    def latest_quantities(self, site: str, chime: str) -> Sequence[QuantityPoint]:
        newest = {one.name: one for one in sorted(self.quantity_list, key=lambda one: one.at_s)}
        return [newest[name] for name in sorted(newest)]

    def fitouts(self, site: str, chime: str, limit: int = 100) -> Sequence[KeptSheet]:
        return self.sheet_list[:limit]

    def unseen(self, site: str, start_s: float, end_s: float) -> Sequence[model.Unseen]:
        presses = [(p.start_s, p.end_s or p.start_s) for p in self.press_list]
        alone = unseen.unseen(unseen.Signs(presses, soundings=[s.start_s for s in self.sounding_list]))
        found = [*self.unseen_list, *(model.Unseen(SITE, CHIME, *sign) for sign in alone)]
        return [u for u in found if u.site == site and start_s <= u.start_s < end_s]

    def redatings(self, site: str, start_s: float, end_s: float) -> Sequence[model.Redating]:
        return [one for one in self.redating_list if one.end_s >= start_s and one.start_s < end_s]

    def set_aside(
        self,
        *,
        site: str | None = None,
        cursor: str | None = None,
        limit: int = 100,
        fates: Sequence[str] = ("quarantined", "unexpected"),
    ) -> tuple[Sequence[model.SetAside], str | None]:
        first = int(cursor or 0)
        return self.set_aside_list[first : first + limit], str(first + limit) if len(
            self.set_aside_list
        ) > first + limit else None

    def events_after(self, event_id: int, limit: int = 1000) -> Sequence[model.Event]:
        return []

    def last_event_id(self) -> int:
        return 0

    def counts(self) -> model.Counts:
        return model.Counts(0, 0, 0, 0, 0, 0)

    def previous_look_s(self, site: str, person: str) -> float | None:
        return self.looks.get((site, person), self.looks.get((site, "anybody")))

    # what a person may do; satisfies pages.Actions

    def look(self, site: str, person: str, now_s: float) -> None:
        self._check()
        self.looked.append((site, person, now_s))

    def note_visit(self, site: str, visit_id: int, who: str, note: str, by: str, now_s: float) -> None:
        self.visit(site, visit_id)
        named = clean_name(who) if who.strip() else None
        self.notes[visit_id] = (named, clean_note(note) or None)
        self.said_by = by

    def replace_away(self, site: str, person: str, aways: Iterable[Away], now_s: float) -> None:
        self.away_list = [one for one in self.away_list if one[0] != person] + [(person, one) for one in aways]

    def add_away(self, site: str, person: str, summary: str, start_s: float, end_s: float, now_s: float) -> None:
        if not start_s < end_s:
            raise Refused("An absence begins before it ends.")
        self.away_list.append((person, Away(f"by-hand-{start_s:.0f}", summary, start_s, end_s)))

    def remove_away(self, site: str, person: str, uid: str) -> None:
        kept = [one for one in self.away_list if (one[0], one[1].uid) != (person, uid)]
        if len(kept) == len(self.away_list):
            raise NotFound(f"no absence {uid!r} of {person!r}")
        self.away_list = kept

    # the writer of lessons; satisfies teaching.Writer and the part of ports.Work that it uses

    def do(self, action: Callable[["Record"], None], timeout_s: float = 10.0) -> None:
        action(self)

    def put_cadence(self, site: str, taught: Taught) -> None:
        self.cadence_list.append(taught)

    def remove_cadence(self, site: str, name: str) -> None:
        kept = [one for one in self.cadence_list if one.cadence.name != name]
        if len(kept) == len(self.cadence_list):
            raise NotFound(f"no cadence {name!r}")
        self.cadence_list = kept

    def claim(self, site: str, chime: str, name: str | None = None) -> None:
        self.chime_list = [
            replace(c, claimed=True) if (c.site, c.chime) == (site, chime) else c for c in self.chime_list
        ]
        self.site_list = [replace(s, name=name or s.name) if s.site == site else s for s in self.site_list]

    def commission(self, site: str, chime: str, stretch_s: tuple[float, float] | None, by: str, now_s: float) -> None:
        self.commissioning_list.insert(0, Commissioning(1, now_s, now_s - 900, now_s, 3, by))

    def rename_site(self, site: str, name: str, time_zone: str) -> None:
        self.site_list = [replace(s, name=name, time_zone=time_zone) if s.site == site else s for s in self.site_list]

    def rename_door(self, site: str, chime: str, door: str, name: str) -> None:
        self.door_list = [replace(d, name=name) if d.door == door else d for d in self.door_list]


def _joined(start_s: float, step_s: float, some: Sequence[model.SupplyPoint]) -> model.SupplyPoint:
    def of(name: str, how: object) -> float | None:
        values = [v for v in (getattr(p, name) for p in some) if v is not None]
        return how(values) if values and callable(how) else None

    def mean(values: list[float]) -> float:
        return sum(values) / len(values)

    return model.SupplyPoint(
        start_s,
        start_s + step_s,
        len(some),
        of("mean_v", mean),
        of("min_v", min),
        of("max_v", max),
        of("low_v", min),
        of("regulated_min_v", min),
        of("temperature_c", mean),
        of("link_dbw", mean),
    )
