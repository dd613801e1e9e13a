"""Tern Cottage, an invented house with doors `front` and `garden` and a chime `hall`, and a Reader that answers from lists.

Everything here is made up for tests. Times are told in the house's zone, Europe/London.
"""

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from service import model
from service.errors import NotFound, StoreUnavailable
from service.health import Health
from service.presses.visits import answered

LONDON = ZoneInfo("Europe/London")
SITE, CHIME = "tern-cottage", "hall"


def at(text: str) -> float:
    """`25 Nov 2026 09.14` or `25 Nov 2026 09.14.30`, London time, as POSIX seconds."""
    form = "%d %b %Y %H.%M.%S" if text.count(".") == 2 else "%d %b %Y %H.%M"
    return datetime.strptime(text, form).replace(tzinfo=LONDON).timestamp()


NOW_S = at("25 Nov 2026 18.20")


@dataclass
class Record:
    """What the house's record holds; tests fill in what they need. Satisfies `ports.Reader`."""

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
    looks: dict[tuple[str, str], float] = field(default_factory=dict)
    looked: list[tuple[str, str, float]] = field(default_factory=list)
    trouble: str | None = None
    visit_count: int = 0

    # filling

    def visit(self, door: str, when: str, lengths_s: Sequence[float] = (0.3,), every_s: float = 8.0, doubtful: bool = False,
              sounds: bool = True, uncertainty_s: float = 0.01) -> None:
        self.visit_count += 1
        for number, length_s in enumerate(lengths_s):
            start_s = at(when) + number * every_s
            self.press_list.append(model.Press(
                len(self.press_list) + 1, self.visit_count, SITE, CHIME, door, start_s, start_s + length_s, uncertainty_s, "edges",
                max(1, round(length_s * 50)), 0, False, doubtful))
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
        self, site: str, start_s: float, end_s: float, *, chime: str | None = None, door: str | None = None,
        cursor: str | None = None, limit: int = 100, newest_first: bool = False,
    ) -> tuple[Sequence[model.Visit], str | None]:
        sounds = [s.start_s for s in self.sounding_list]
        found = []
        for number in sorted({p.visit_id for p in self.press_list}):
            presses = tuple(p for p in self.press_list if p.visit_id == number)
            if presses[0].site == site and start_s <= presses[0].start_s < end_s:
                found.append(model.Visit(
                    number, site, presses[0].chime, presses[0].door, presses[0].start_s, max(p.end_s or p.start_s for p in presses),
                    answered((p.start_s for p in presses), sounds), presses))
        first = int(cursor or 0)
        found.sort(key=lambda visit: visit.start_s)
        return found[first:first + limit], str(first + limit) if first + limit < len(found) else None

    def soundings(self, site: str, start_s: float, end_s: float, chime: str | None = None) -> Sequence[model.Sounding]:
        return [s for s in self.sounding_list if start_s <= s.start_s < end_s]

    def blind_spells(self, site: str, start_s: float, end_s: float, now_s: float) -> Sequence[model.BlindSpell]:
        return [b for b in self.blind_list if b.start_s < end_s and (b.end_s or now_s) > start_s]

    def boots(self, site: str, chime: str, start_s: float, end_s: float) -> Sequence[model.Boot]:
        return [b for b in self.boot_list if b.start_s < end_s and b.last_heard_s >= start_s]

    def supply(self, site: str, chime: str, start_s: float, end_s: float, step_s: float | None = None,
               limit: int = 10_000) -> Sequence[model.SupplyPoint]:
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

    def set_aside(self, *, site: str | None = None, cursor: str | None = None, limit: int = 100,
                  fates: Sequence[str] = ("quarantined", "unexpected")) -> tuple[Sequence[model.SetAside], str | None]:
        first = int(cursor or 0)
        return self.set_aside_list[first:first + limit], str(first + limit) if len(self.set_aside_list) > first + limit else None

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

    def claim(self, site: str, chime: str, name: str | None = None) -> None:
        self.chime_list = [replace(c, claimed=True) if (c.site, c.chime) == (site, chime) else c for c in self.chime_list]
        self.site_list = [replace(s, name=name or s.name) if s.site == site else s for s in self.site_list]

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
        start_s, start_s + step_s, len(some), of("mean_v", mean), of("min_v", min), of("max_v", max), of("low_v", min),
        of("regulated_min_v", min), of("temperature_c", mean), of("link_dbw", mean))


def empty_house(first_heard: str = "25 Nov 2026 10.05") -> Record:
    """A claimed chime with two doors that nobody has rung yet."""
    record = Record()
    first_s = at(first_heard)
    record.chime_list.append(model.Chime(SITE, CHIME, True, None, first_s, NOW_S - 20, True, first_s, ("presses", "exactly-once", "supply")))
    record.door_list += [model.Door(SITE, CHIME, "front", "Front", first_s), model.Door(SITE, CHIME, "garden", "Garden", first_s)]
    return record


def usual_house() -> Record:
    """Two visits since 07.52, one doubtful press, one unseen, the power off from 11.08 to 13.00; six days before it."""
    record = empty_house("12 Mar 2026 09.00")
    record.looks[SITE, "anybody"] = at("25 Nov 2026 07.52")
    record.visit("front", "25 Nov 2026 09.14", (0.3, 0.4))
    record.blind("25 Nov 2026 11.08", "25 Nov 2026 13.00")
    record.boot_list.append(model.Boot(SITE, CHIME, 41, "power-on", at("25 Nov 2026 13.00"), NOW_S))
    record.visit("garden", "25 Nov 2026 14.36", (0.038,), doubtful=True, sounds=False)
    record.visit("front", "25 Nov 2026 16.47", (0.3, 0.4, 0.35), every_s=11.8)
    record.sound(at("25 Nov 2026 17.32"))
    for door, when, presses in (
        ("front", "24 Nov 2026 08.05", 1), ("front", "24 Nov 2026 10.42", 2), ("garden", "24 Nov 2026 13.20", 1), ("front", "24 Nov 2026 17.55", 1),
        ("front", "23 Nov 2026 09.30", 1), ("front", "23 Nov 2026 16.10", 2), ("garden", "22 Nov 2026 11.15", 2), ("garden", "22 Nov 2026 11.47", 1),
        ("front", "22 Nov 2026 15.01", 1), ("front", "21 Nov 2026 09.04", 2), ("front", "21 Nov 2026 10.25", 1), ("garden", "21 Nov 2026 12.50", 1),
        ("front", "21 Nov 2026 14.30", 3), ("front", "21 Nov 2026 18.40", 1), ("front", "20 Nov 2026 07.50", 1), ("front", "19 Nov 2026 10.10", 1),
        ("front", "19 Nov 2026 16.25", 2),
    ):
        record.visit(door, when, (0.3,) * presses)
    record.visit("front", "20 Nov 2026 12.34", (0.02,), doubtful=True, sounds=False)
    record.blind("22 Nov 2026 02.00", "22 Nov 2026 03.10")
    return record


def with_supply(record: Record, days: float = 30.0) -> Record:
    """Invented windows of five minutes: a slow daily swing, a dip while sounding, nothing while blind."""
    sounding = sorted(s.start_s for s in record.sounding_list)
    moment_s = NOW_S - 20 - days * 86400
    while moment_s <= NOW_S - 20:
        if not any(b.start_s < moment_s < (b.end_s or NOW_S) for b in record.blind_list):
            mean = 14.2 + 0.12 * math.sin(moment_s / 13751) + 0.05 * math.sin(moment_s / 1201)
            low = 9.32 + 0.05 * math.sin(moment_s) if any(moment_s - 300 < s <= moment_s for s in sounding) else None
            record.point_list.append(model.SupplyPoint(
                moment_s - 300, moment_s, 5, mean, mean - 0.31, mean + 0.34, low, 3.29, 19.5 + math.sin(moment_s / 13751), -96.0))
        moment_s += 300
    record.burst_list += [burst("idle", at("25 Nov 2026 17.30"), 14.2, 0.36), burst("sound", at("25 Nov 2026 17.32"), 10.1, 1.43)]
    return record


def burst(kind: model.WaveformKind, start_s: float, mean_v: float, ripple_v: float, mains_hz: float = 50.0) -> model.Burst:
    """An invented rail burst at 2 kHz: a quick rise once per cycle, then a straight fall; one sample missing."""
    codes = []
    for n in range(400):
        phase = (n / 2000 * mains_hz) % 1.0
        shape = phase / 0.2 if phase < 0.2 else 1 - (phase - 0.2) / 0.8
        codes.append(-32768 if n == 333 else round((mean_v + ripple_v * (shape - 0.5)) / 0.005))
    return model.Burst(kind, start_s, 2000.0, 0.005, struct.pack(f"<{len(codes)}h", *codes))


def health() -> Health:
    return Health("0.1.0", at("25 Nov 2026 10.05"), "127.0.0.1:7433", broker="127.0.0.1:1883", broker_connected=True)


