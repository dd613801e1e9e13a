"""The Supply sheet: what was found, and how the rail stands and stood. Judges nothing itself. Makes contexts; knows no HTTP."""

from collections.abc import Sequence
from datetime import timedelta

from dashboard import contexts, finding_list, outlook_lines, rail_chart, supply_contexts, supply_tables, words
from dashboard.cycle import two_cycles
from dashboard.doorstep import failure, head
from dashboard.house import House, hours_of, midnight_s
from dashboard.language import say
from dashboard.supply_points import (
    MEAN,
    MONTH_STEP_S,
    SOUNDING,
    PastDays,
    bounds,
    dips_of,
    lowest,
)
from service import model
from service.ports import Reader

MONTH_DAYS = 30
DAY_S = 86_400.0
DAY_STEP_S = 300.0


def make(house: House, reader: Reader, past: PastDays) -> supply_contexts.Supply:
    """`house` must cover the last `MONTH_DAYS` days."""
    sheets = [_Sheet(house, chime, reader, past) for chime in house.chimes]
    telling = [sheet for sheet in sheets if sheet.month or sheet.found.findings]
    headline, lead = (
        _verdict(telling[0])
        if telling
        else (
            say("No supply voltage has been recorded."),
            say(
                "A chime that sends only presses says nothing of its supply. One that also sends its rail has it "
                "drawn here."
            ),
        )
    )
    if len(telling) > 1:
        headline = " ".join(f"{sheet.name.capitalize()}: {_verdict(sheet)[0]}" for sheet in telling)
        lead = " ".join(dict.fromkeys(sheet.found.verdict for sheet in telling))
    return supply_contexts.Supply(
        head=head(house, say("Supply"), "supply"),
        at=words.clock(house.now_s, house.zone),
        date=words.day_and_month(house.today),
        headline=headline,
        lead=lead,
        chimes=[sheet.context(len(sheets) > 1) for sheet in sheets],
        failure=failure(house),
    )


class _Sheet:
    """One chime's supply: what was asked of the record, and what is made of it."""

    def __init__(self, house: House, chime: model.Chime, reader: Reader, past: PastDays) -> None:
        self.house, self.chime = house, chime
        self.name = say("{chime} chime", chime=chime.chime.replace("-", " "))
        now_s, site = house.now_s, house.site.site
        self.day_start_s = now_s - DAY_S
        self.month_start_s = midnight_s(house.today - timedelta(days=MONTH_DAYS), house.zone)
        self.latest = reader.latest_supply(site, chime.chime)
        self.day = reader.supply(site, chime.chime, self.day_start_s, now_s + 1.0, DAY_STEP_S)
        today_s = midnight_s(house.today, house.zone)
        self.month = [
            *past.before(site, chime.chime, self.month_start_s, today_s, now_s),
            *reader.supply(site, chime.chime, today_s, now_s + 1.0, MONTH_STEP_S),
        ]
        self.bursts = reader.latest_bursts(site, chime.chime)
        self.found = finding_list.make(house, chime, reader, past)
        self.dips = dips_of(reader, site, chime.chime, self.month_start_s, now_s)
        self.outlooks = past.outlooks(site, chime.chime, now_s)
        self.boots = [
            boot
            for boot in reader.boots(site, chime.chime, self.month_start_s, now_s)
            if boot.start_s >= self.month_start_s
        ]

    def context(self, several: bool) -> supply_contexts.ChimeSupply:
        scale = rail_chart.scale_of([*self.day, *self.month])
        month = rail_chart.draw_panel(self._panel(self.month_start_s, self.month, self._day_ticks()), scale, 1.0)
        return supply_contexts.ChimeSupply(
            name=words.sentence(self.name).rstrip(".") if several else "",
            found=self.found,
            silence="" if self.month else say("This chime has sent no supply voltage in thirty days."),
            month=month,
            day=rail_chart.draw_panel(
                self._panel(self.day_start_s, self.day, self._hour_ticks()), scale, rail_chart.DAY_SHARE, self._ends()
            ),
            joint=rail_chart.draw_joint(MONTH_DAYS),
            scale=rail_chart.draw_scale(scale),
            cycles=self._cycles(),
            figures=supply_tables.figures(self._newest_first(), self.day, self.month),
            hours=self._hours(),
            days=self._days(),
            happened=supply_tables.happened(self.house, self.chime, self.boots, self.dips, self.month_start_s),
            outlook=outlook_lines.lines(self.outlooks, self.house.now_s, self.house.zone),
        )

    def _panel(
        self, start_s: float, points: Sequence[model.SupplyPoint], ticks: Sequence[tuple[float, str]]
    ) -> rail_chart.Panel:
        end_s, mine = self.house.now_s, self.chime.chime
        presses = [
            p for visit in self.house.visits if visit.chime == mine for p in visit.presses if p.start_s >= start_s
        ]
        blind = [
            (max(b.start_s, start_s), b.end_s if b.end_s is not None else end_s)
            for b in self.house.blind
            if b.chime == mine
        ]
        return rail_chart.Panel(
            start_s,
            end_s,
            points,
            [(press.start_s, press.doubtful) for press in presses],
            [s.start_s for s in self.house.soundings if s.chime == mine and s.start_s >= start_s],
            [boot.start_s for boot in self.boots if boot.start_s >= start_s],
            [b for b in blind if b[1] > start_s],
            ticks,
            dips=[one for one in self.dips if one[0] >= start_s],
        )

    def _hour_ticks(self) -> list[tuple[float, str]]:
        hours = hours_of(self.day_start_s, self.house.now_s, self.house.zone)
        return [(moment_s, numeral if int(numeral) % 6 == 0 else "") for moment_s, numeral in hours]

    def _day_ticks(self) -> list[tuple[float, str]]:
        days = [self.house.today - timedelta(days=n) for n in range(MONTH_DAYS, -1, -1)]
        named = {0, 10, 20}
        return [
            (midnight_s(day, self.house.zone), words.day_short(day) if n in named else "") for n, day in enumerate(days)
        ]

    def _ends(self) -> list[tuple[float, str, str]]:
        ends = []
        mean = self.now_v()
        if mean is not None:
            ends.append((mean, words.measured(mean, "V"), "value"))
        low = lowest(self.day, SOUNDING)
        if low is not None:
            ends += [(low, words.measured(low, "V"), "value"), (low - 1e-6, say("sounding"), "said")]
        return ends

    def _cycles(self) -> list[supply_contexts.Cycle]:
        found = []
        for burst in self.bursts:
            names = {"idle": say("At rest"), "sound": say("Sounding"), "test": say("With the test load")}
            cycles = two_cycles(burst) if burst.kind in names else None
            if cycles is None:
                continue
            when = words.stamp(burst.start_s, self.house.now_s, self.house.zone)
            swing = say(
                "from {measured} to {measured2}",
                measured=words.measured(cycles.low_v, "V"),
                measured2=words.measured(cycles.high_v, "V"),
            )
            told = (
                say(
                    "Two cycles of the mains at about {measured}, {swing}.",
                    measured=words.measured(cycles.mains_hz, "Hz", 0),
                    swing=swing,
                )
                if cycles.mains_hz
                else say(
                    "{duration} as sampled, {swing}.", duration=words.duration(float(cycles.times_s[-1])), swing=swing
                )
            )
            found.append(
                supply_contexts.Cycle(
                    f"{names[burst.kind]}, {when}",
                    say("V, over ms"),
                    rail_chart.draw_cycles(cycles),
                    told,
                )
            )
        return found

    def now_v(self) -> float | None:
        """The newest mean of the rail."""
        return next((point.mean_v for point in self._newest_first() if point.mean_v is not None), None)

    def _newest_first(self) -> list[model.SupplyPoint]:
        """For a figure that not every window has, such as the lowest while sounding."""
        return [*([self.latest] if self.latest else []), *reversed(self.day), *reversed(self.month)]

    def _hours(self) -> contexts.Table:
        marks = [s for s, _ in hours_of(self.day_start_s - 3600, self.house.now_s, self.house.zone)]
        stretches = [(start, start + 3600, words.clock(start, self.house.zone)) for start in reversed(marks)]
        return supply_tables.by_stretch(
            say("The last day by hours"), say("From"), stretches, self.day, self.house, self.chime
        )

    def _days(self) -> contexts.Table:
        days = [self.house.today - timedelta(days=n) for n in range(MONTH_DAYS + 1)]
        zone = self.house.zone
        stretches = [
            (midnight_s(day, zone), midnight_s(day + timedelta(days=1), zone), words.day_and_month(day)) for day in days
        ]
        return supply_tables.by_stretch(
            say("Thirty days by days"), say("Day"), stretches, self.month, self.house, self.chime
        )


def _verdict(sheet: _Sheet) -> tuple[str, str]:
    """The answer and what qualifies it: what was found first, then where the rail stands."""
    rail, means = _rail(sheet)
    if not sheet.found.findings:
        return rail or say("The rail’s mean is not told."), f"{means}{sheet.found.verdict}"
    first = sheet.found.findings[0]
    headline = words.sentence(f"{first.title} ({first.door})" if first.door else first.title)
    return headline, " ".join(part for part in (f"{first.likelihood}.", rail, sheet.found.verdict) if part)


def _rail(sheet: _Sheet) -> tuple[str, str]:
    """Where it stands, and where its mean lay: a sentence each, empty where it is not told."""
    house, latest = sheet.house, sheet.latest
    low = lowest(sheet.day, SOUNDING)
    if low is None:
        low = lowest(sheet.month, SOUNDING)
    mean = sheet.now_v()
    if latest is None or mean is None:
        return "", ""
    if house.unheard_since_s(sheet.chime) is not None:
        said = say("The rail stood at {measured} when last heard of", measured=words.measured(mean, "V", 1))
        said += f" {words.moment(latest.end_s, house.now_s, house.zone)}"
    else:
        said = say("The rail stands at {measured}", measured=words.measured(mean, "V", 1))
        said += (
            say(", and fell to {measured} while the chime sounded", measured=words.measured(low, "V", 1))
            if low is not None
            else ""
        )
    means = bounds(sheet.month, MEAN)
    lead = (
        say(
            "Over thirty days its mean lay between {measured} and {measured2}. ",
            measured=words.measured(means[0], "V"),
            measured2=words.measured(means[1], "V"),
        )
        if means
        else ""
    )
    return words.sentence(said), lead
