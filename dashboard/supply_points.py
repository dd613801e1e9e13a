"""Points of the supply: the days that are past, kept for a while; extremes, and how a figure compares. Knows no page."""

from collections.abc import Callable, Sequence
from operator import attrgetter

from dashboard import words
from dashboard.kept import Kept
from dashboard.language import figure, marked, say
from service import outlooks
from service.findings.life import State
from service.findings.outlook import Outlook
from service.findings.standing_room import Place
from service.findings.testimony import SURVEY_S
from service.model import SupplyPoint
from service.ports import Reader

Figure = Callable[[SupplyPoint], float | None]

MEAN: Figure = attrgetter("mean_v")
LOWEST: Figure = attrgetter("min_v")
HIGHEST: Figure = attrgetter("max_v")
SOUNDING: Figure = attrgetter("low_v")

TRACK = 6  # surveys that are drawn before the newest
MONTH_STEP_S = 10_800.0
KEPT_S = 300.0


def _received_dbm(point: SupplyPoint) -> float | None:
    return None if point.link_dbw is None else point.link_dbw + 30.0


QUANTITIES: tuple[tuple[str, Figure, str, int], ...] = (
    (marked("Rail, mean"), MEAN, "V", 2),
    (marked("Rail, lowest"), LOWEST, "V", 2),
    (marked("Rail, highest"), HIGHEST, "V", 2),
    (marked("Lowest while sounding"), SOUNDING, "V", 2),
    (marked("Regulated rail, lowest"), attrgetter("regulated_min_v"), "V", 2),
    (marked("Inside the chime"), attrgetter("temperature_c"), "°C", 1),
    (marked("Radio, received"), _received_dbm, "dBm", 0),
)
"""Name, figure, unit, decimals."""


DIPS = ("mains-dip", "mains-swell")


def dips_of(reader: Reader, site: str, chime: str, start_s: float, end_s: float) -> list[tuple[float, bool]]:
    """When the mains was found to have dipped or risen, and whether it rose; oldest first."""
    told = [one.finding for one in reader.findings(site, chime, states=tuple(State)) if one.finding.name in DIPS]
    moments = [(one.since_s, one.name == "mains-swell") for one in told if one.since_s is not None]
    return sorted(one for one in moments if start_s <= one[0] < end_s)


class PastDays:
    """The days before today in steps of `MONTH_STEP_S`, asked anew every `KEPT_S`: they hardly change, and a month has some 40,000
    windows to join. What comes late stands on the sheet within that time."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._ahead = Kept()
        self._kept: dict[tuple[str, str], tuple[tuple[float, float, int], Sequence[SupplyPoint]]] = {}

    def outlooks(self, site: str, chime: str, now_s: float) -> list[Outlook]:
        """Asked anew too when the chime has been examined, commissioned or fitted out since."""
        reader = self._reader
        known = (
            *(one.examined_s for one in reader.examinations(site, chime)[:1]),
            *(one.taken_s for one in reader.commissionings(site, chime)[:1]),
            *(one.kept_s for one in reader.fitouts(site, chime, limit=1)),
        )
        return self._ahead.of((site, chime, known), now_s, lambda: outlooks.of_chime(reader, site, chime, now_s))

    def track(self, site: str, chime: str, start_s: float, newest_s: float, now_s: float) -> tuple[Place, ...]:
        """Reservoir and source resistance as some surveys before the newest measured them, oldest first; asked anew after another."""

        def asked() -> tuple[Place, ...]:
            every_s = max((newest_s - start_s) / TRACK, SURVEY_S)
            farads, ohms = (
                {one.at_s: one.measured.value for one in self._reader.quantities(site, chime, name, start_s, newest_s, 4 * TRACK, every_s)}
                for name in ("reservoir_f", "source_ohm")
            )  # fmt: skip
            return tuple((farads[at_s], ohms[at_s]) for at_s in sorted(farads.keys() & ohms.keys()))

        return self._ahead.of((site, chime, "track", start_s, newest_s), now_s, asked)

    def before(self, site: str, chime: str, start_s: float, today_s: float, now_s: float) -> Sequence[SupplyPoint]:
        turn = (start_s, today_s, int(now_s // KEPT_S))
        kept = self._kept.get((site, chime))
        if kept is None or kept[0] != turn:
            kept = (turn, self._reader.supply(site, chime, start_s, today_s, MONTH_STEP_S))
            self._kept[site, chime] = kept
        return kept[1]


def values_of(points: Sequence[SupplyPoint], figure: Figure) -> list[float]:
    return [value for value in map(figure, points) if value is not None]


def lowest(points: Sequence[SupplyPoint], figure: Figure) -> float | None:
    return min(values_of(points, figure), default=None)


def highest(points: Sequence[SupplyPoint], figure: Figure) -> float | None:
    return max(values_of(points, figure), default=None)


def bounds(points: Sequence[SupplyPoint], figure: Figure) -> tuple[float, float] | None:
    values = values_of(points, figure)
    return (min(values), max(values)) if values else None


def told_bounds(ends: tuple[float, float] | None, unit: str, decimals: int) -> str:
    """As `13.72 to 14.06 V`."""
    if ends is None:
        return "–"
    low, high = (figure(end, f".{decimals}f").replace("-", "−") for end in ends)
    return words.measured(ends[0], unit, decimals) if low == high else words.to(low, f"{high}{words.THIN}{unit}")


def compared(now: float | None, month: tuple[float, float], unit: str, decimals: int) -> str:
    """A figure against the range of thirty days, in words."""
    if now is None:
        return ""
    step = 0.5 * 10.0**-decimals
    if month[1] - month[0] < step and abs(now - month[0]) < step:
        return say("unchanged")
    if now < month[0] - step:
        return say("{measured} below the range of thirty days", measured=words.measured(month[0] - now, unit, decimals))
    if now > month[1] + step:
        return say("{measured} above the range of thirty days", measured=words.measured(now - month[1], unit, decimals))
    return say("within the range of thirty days")
