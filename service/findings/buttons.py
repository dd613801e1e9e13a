"""Findings about buttons, their diodes and the detector: from the signs of a door now, beside those at commissioning.

Each is weighed on its own as odds: how much likelier the signs are with the fault than without it. Knows no supply beyond
a ratio of voltages.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import acos, cos, exp, lgamma, log, pi, sqrt
from statistics import stdev

from service.findings.cycles import Rise
from service.findings.doors import DoorSigns, LongPress
from service.findings.verdict import EvidenceLine, Finding
from service.supply.fitout import FitOut

PRIOR = 0.05
"""Before anything is seen, each fault of a button (chosen; no source)."""

DIODE_RISE_V = 0.75
"""How far a bridged diode lifts the maxima under some milliamperes of idle load, where commissioning has not shown it [V]."""

DROPS_V, DROPS_SD_V = 1.75, 0.3
"""The detector's own diode and its LED at some tenths of a milliampere [V] (common practice, no source)."""

STRETCHES = ((0.0, 0.55), (0.1e-3, 0.15), (0.2e-3, 0.15), (0.3e-3, 0.15))
"""A slow optocoupler stretches pulses by some tenths of a millisecond: (how much [s], how often)."""

TICKS_S = 0.14e-3
"""Pulses are told in ticks of 0.1 ms: the widest that stand must differ by more than one to be a press."""

NARROWER = 0.95
"""Where nobody pressed meanwhile: narrower than this share of a pressed pulse's width has a resistance in its way. A bridged diode
lifts the rail, so that the mains seem some per cent higher and pulses seem narrow by as much."""

LAMP_OF_FULL_WIDTH = 0.2
"""Of pulses that stand as wide as those of a press, so many are a lamp's (chosen; no source)."""

LAMP_BELOW_OHM, LAMP_SPREAD = 4600.0, 0.25
"""A lamp, or an LED with its resistor, is of lower resistance than damp; between 2 and 5 kOhm either may be (spread: logarithm)."""

DROP_OUTS = (0.001, 0.3, 0.8)
BOUNCES = (0.25, 1.5, 3.0)
"""Missing pulses, and gaps inside a half-cycle, per press: mean of good contacts and how alike they are (shape of a Gamma
distribution), mean of bad ones. In 1090 presses of simulated good contacts no pulse was missing, and 0.12 gaps a press were seen."""

SOUND_BOUNCES = 1.2
"""So many gaps a press a sound contact may show on a day, whatever it showed before: a published survey found bounce of 1.6 ms on
average at each press (Ganssle, from memory), and two fifths of a press's beginnings and ends lie where the detector sees them."""

SEEN_SHORTEST_S = 0.08
"""Rises shorter than this may be what a radio leaves."""

LIKE_A_PRESS = (0.55, 1.6)
"""Of the rise that a press makes; to the highest of many cycles, twice their scatter is allowed beside."""

BY_CHANCE_PER_S, NOISY_PER_S, NOISY = 0.001, 0.02, 0.25
"""Rises that look like a press and are none, in a second watched: of mains whose cycles scatter by less than a quarter of such a rise, and
of others, which flicker (in 910 s of 170 healthy simulated houses 1 and 8)."""

CHANCE_SEEN_S = 100.0
"""So many seconds that figure weighs, beside those that were watched at commissioning."""

SURE_LOGARITHM = 500.0
"""Of odds: more can be written in no float, and says no more."""

SHOWN, ANOTHER = 0.7, 0.6
"""A button that is used while the rail is watched shows once so often, and each time so often once more (chosen; no source)."""


@dataclass(frozen=True, slots=True)
class DoorSeen:
    """A door with what is known of it. `before`: at commissioning. `standing`: whether its button carries a diode that feeds
    the chime. `voltage_ratio`: source voltage now to then."""

    door: str
    now: DoorSigns | None
    before: DoorSigns | None
    standing: bool
    mains_hz: float
    voltage_ratio: float
    peak_v: float | None  # of the open source, now
    noise_v: float  # scatter of a cycle maximum about its level
    unmatched: Sequence[Rise]  # rises of the rail beside no pulse of any door; where this one's stand, of any other
    unmatched_before: Sequence[Rise]
    watched_s: float  # how long cycles of the rail were seen under the idle load
    watched_before_s: float


def findings(seen: DoorSeen, sheet: FitOut) -> Iterator[Finding]:
    """Findings of this door, each with its likelihood, however small."""
    if seen.now is not None and seen.now.standing_from_s is not None:
        yield from _standing(seen, seen.now, sheet)
    if seen.now is not None and seen.now.presses:
        yield from _contact(seen, seen.now)
    if seen.standing and (seen.now is None or not (seen.now.presses or seen.now.standing_share)):
        yield from _dead(seen)


# ── pulses that stand ───────────────────────────────────────────────────────────────────────────────────────────────────


def pressed_width_s(seen: DoorSeen) -> float | None:
    """Width of a full pulse at the present voltage: as seen in presses now, or as commissioning's follows the voltage [s]."""
    now, before, period = seen.now, seen.before, 1.0 / seen.mains_hz
    if before is not None and before.width_s is not None:
        threshold = cos(pi * min(before.width_s / period, 0.5)) / max(seen.voltage_ratio, 0.1)
        return period / pi * acos(min(max(threshold, 0.0), 1.0))
    return now.width_s if now is not None and now.standing_from_s is None else None


def _standing(seen: DoorSeen, now: DoorSigns, sheet: FitOut) -> Iterator[Finding]:
    width = now.standing_width_s or 0.0
    widest = now.standing_widest_s or width
    expected = pressed_width_s(seen)
    sure = 0.9 + 0.09 * min(now.standing_share, 1.0)
    lines = [EvidenceLine("standing_pulse_share", round(now.standing_share, 3), expected=0.0)]
    lines.append(EvidenceLine("pulse_width_s", width, expected=expected))
    pressed_inside = widest - width > TICKS_S and (expected is None or widest < 1.05 * expected)
    if not pressed_inside and (expected is None or width >= NARROWER * expected):
        lifted = _lifted(seen)
        name, other = (
            ("button-diode-shorted", "lamp-in-button") if lifted < 0.5 else ("lamp-in-button", "button-diode-shorted")
        )
        alike: tuple[str, ...] = ("contact-stuck",) if lifted < 0.5 else ()
        alike += (other,) if 0.1 < lifted < 0.9 else ()
        yield Finding(name, sure * max(lifted, 1.0 - lifted), seen.door, alike, now.standing_from_s, tuple(lines))
        return
    expected = widest if pressed_inside else expected or widest
    lamp, ohm = _lamp(seen, sheet, width, expected)
    if ohm is not None:
        lines.append(EvidenceLine("across_button_ohm", ohm))
    names = ("lamp-in-button", "leak-across-button")
    first, second = names if lamp >= 0.5 else names[::-1]
    likelihood = sure * max(lamp, 1.0 - lamp)
    doubtful = (second,) if 0.1 < lamp < 0.9 else ()
    yield Finding(first, likelihood, seen.door, doubtful, now.standing_from_s, tuple(lines))


def _lifted(seen: DoorSeen) -> float:
    """How likely presses still lift the rail, so that what lies across the button is a lamp of some hundred ohms and no bridge: the
    pulses of both are as wide as those of a press. Not at all on mains that flicker."""
    if seen.noise_v >= NOISY * expected_rise_v(seen):
        return 0.0
    found, by_chance = _lifts(seen)
    return _share(LAMP_OF_FULL_WIDTH / (1.0 - LAMP_OF_FULL_WIDTH) * _likelier_pressed(len(found), by_chance))


def _lamp(seen: DoorSeen, sheet: FitOut, width: float, full: float) -> tuple[float, float | None]:
    """How likely a lamp rather than a leak lies across the button, and its resistance [Ohm], by which its pulses are narrower.

    V_th = I_th (R_detector + R) + two diode drops, for both widths. I_th follows from the full width, poorly where it is
    small; so it is summed over all that it may be.
    """
    if seen.peak_v is None or not sheet.detector_ohm:
        return 0.6, None
    period = 1.0 / seen.mains_hz
    on_by_sheet = [sheet.detector_on_a] if sheet.detector_on_a else [0.1e-3 * 1.15**n for n in range(30)]
    total = lamp = logarithm = 0.0
    for stretch, share in STRETCHES:
        full_v, narrow_v = (seen.peak_v * cos(pi * min(max(w - stretch, 0.0) / period, 0.5)) for w in (full, width))
        for on_a in on_by_sheet:
            weight = share * exp(-0.5 * ((full_v - DROPS_V - on_a * sheet.detector_ohm) / DROPS_SD_V) ** 2)
            ohm = max(narrow_v - full_v, 1e-3) / on_a
            total += weight
            lamp += weight / (1.0 + exp(log(ohm / LAMP_BELOW_OHM) / LAMP_SPREAD))
            logarithm += weight * log(ohm)
    if total < 1e-6:
        return 0.6, None
    return lamp / total, exp(logarithm / total)


def bridged(signs: DoorSigns) -> bool:
    """Whether the diode across this button is bridged all the time, as far as the pulses' widths tell."""
    if signs.standing_from_s is None or signs.standing_share < 0.5:
        return False
    return (signs.standing_widest_s or 0.0) - (signs.standing_width_s or 0.0) <= TICKS_S


# ── contacts ────────────────────────────────────────────────────────────────────────────────────────────────────────────


def _contact(seen: DoorSeen, now: DoorSigns) -> Iterator[Finding]:
    if seen.standing and now.long_presses and seen.voltage_ratio < OTHER_SUPPLY:
        expected = expected_rise_v(seen)
        noise = _rise_noise_v(seen)
        past = [press.rise_v < HARDLY * expected for press in seen.before.long_presses] if seen.before else []
        odds = PRIOR * exp(sum(_flat(press, expected, noise, past) for press in now.long_presses))
        values = sorted(press.rise_v for press in now.long_presses)
        line = EvidenceLine("rise_at_press_v", values[len(values) // 2], values[0], values[-1], expected)
        yield Finding("contact-resistance", _share(odds), seen.door, (), now.long_presses[0].start_s, (line,))
    before = seen.before
    openings = before.short_gaps if before else 0
    for name, count, then, rates, least, quantity in (
        (
            "contact-drops-out",
            now.drop_outs,
            before.drop_outs if before else 0,
            DROP_OUTS,
            0.0,
            "pulses_missing_per_press",
        ),
        ("contact-bounce", now.short_gaps, openings, BOUNCES, SOUND_BOUNCES, "openings_per_press"),
    ):
        good, shape, bad = rates
        shape, presses = (
            shape + then,
            shape / good + (before.presses if before else 0),
        )  # this contact's own past counts
        usual = shape / presses
        odds = PRIOR * exp(
            _negative_binomial(count, bad * now.presses, 1.0) - _negative_binomial(count, usual * now.presses, shape)
        )
        if count / now.presses <= max(usual, least):
            continue
        line = EvidenceLine(quantity, round(count / now.presses, 3), expected=round(usual, 3))
        yield Finding(name, _share(odds), seen.door, (), None, (line,))


def expected_rise_v(seen: DoorSeen) -> float:
    """How far a press should lift the maxima [V]: as at commissioning, else by a diode drop."""
    before = [press.rise_v for press in seen.before.long_presses] if seen.before is not None else []
    high = sorted(before)[len(before) // 2 :]
    return max(sum(high) / len(high), 0.35) if high else DIODE_RISE_V


OTHER_SUPPLY = 1.2
"""With so much more voltage another transformer feeds the chime, and rises are not what they were."""

SHORT_CYCLES = 8.0
"""Of a longer press the upper quartile scatters less."""

QUIET, FLICKERS = 0.1, 0.35
ODD_QUIET, ODD = 0.02, 0.15
"""Rises scatter little, or so much that nothing follows from them, as shares of the rise of a press; and how many presses of a good
contact hardly lift the rail in a quiet house, and in others (640 presses of sound contacts in simulated houses: 1 of 234 lifted it by
less than two fifths where it was quiet, 22 of 318 up to the limit, 29 of 87 beyond)."""

HARDLY, ODD_WEIGHS = 0.4, 20.0
"""Less than this share of the usual rise is hardly one; and so many presses those shares weigh beside a contact's own past."""

QUARTILE_NOISE = 0.6
"""Scatter of the upper quartile of a press's maxima, as a share of that of single ones (five cycles and more)."""


def _rise_noise_v(seen: DoorSeen) -> float:
    """Scatter of the rise from press to press, beside what the load makes of it: as single cycles scatter, and as it did before."""
    before = [press.rise_v for press in seen.before.long_presses] if seen.before is not None else []
    return max(QUARTILE_NOISE * seen.noise_v, stdev(before) if len(before) > 2 else 0.0)


def _flat(press: LongPress, expected_v: float, noise_v: float, past: Sequence[bool]) -> float:
    """Logarithm of how much likelier this rise is behind a contact with resistance than behind a good one; nothing on flickering mains.
    `past`: which presses of commissioning hardly lifted the rail, as this contact's own share of such."""
    usual = ODD_QUIET if noise_v < QUIET * expected_v else ODD
    noise_v *= min(max(sqrt(SHORT_CYCLES / press.cycles), 0.35), 1.0)
    if noise_v >= FLICKERS * expected_v:
        return 0.0
    odd = (usual * ODD_WEIGHS + sum(past)) / (ODD_WEIGHS + len(past))
    spread = sqrt((0.25 * expected_v) ** 2 + noise_v**2)
    off = (press.rise_v - 0.85 * expected_v) / spread
    width = 0.85 * expected_v + 2.0 * noise_v
    good = (1.0 - odd) * exp(-0.5 * min(off * off, 60.0)) / (spread * sqrt(2.0 * pi))
    good += odd / (1.5 * expected_v + 2.0 * noise_v)
    low, high = -2.0 * noise_v - 0.2, 0.6 * expected_v + noise_v
    bad = (1.0 / (high - low) if low <= press.rise_v <= high else 0.0) * 0.97 + 0.03 / width
    return log(bad / good)


def _negative_binomial(count: int, mean: float, shape: float) -> float:
    """Logarithm of the probability of a count whose Poisson rate is Gamma distributed."""
    p = shape / (shape + mean)
    return lgamma(count + shape) - lgamma(shape) - lgamma(count + 1.0) + shape * log(p) + count * log(1.0 - p)


# ── the detector ────────────────────────────────────────────────────────────────────────────────────────────────────────


def _dead(seen: DoorSeen) -> Iterator[Finding]:
    found, by_chance = _lifts(seen)
    if not found:
        return
    odds = PRIOR * _likelier_pressed(len(found), by_chance)
    heights = sorted(rise.rise_v for rise in found)
    line = EvidenceLine("rise_at_press_v", heights[len(found) // 2], heights[0], heights[-1], expected_rise_v(seen))
    counted = EvidenceLine("rises_without_pulses", float(len(found)), expected=round(by_chance, 2))
    yield Finding("detector-dead", _share(odds), seen.door, (), found[0].start_s, (counted, line))


def _likelier_pressed(count: int, by_chance: float) -> float:
    """How many times likelier so many rises are where a button is used and its presses lift the rail than where only chance does."""
    shown = log(SHOWN * (1.0 - ANOTHER)) + (count - 1) * log(ANOTHER) if count else log(1.0 - SHOWN)
    return exp(min(shown - (count * log(by_chance) - by_chance - lgamma(count + 1.0)), SURE_LOGARITHM))


def _lifts(seen: DoorSeen) -> tuple[list[Rise], float]:
    """Rises of the rail as at a press while no pulse told of one, and how many there would be by chance."""
    expected = expected_rise_v(seen)
    usual = BY_CHANCE_PER_S if seen.noise_v < NOISY * expected else NOISY_PER_S
    before = len(_like_a_press(seen.unmatched_before, expected, seen.noise_v))
    per_s = (usual * CHANCE_SEEN_S + before) / (CHANCE_SEEN_S + seen.watched_before_s)
    return _like_a_press(seen.unmatched, expected, seen.noise_v), per_s * max(seen.watched_s, 1.0)


def _like_a_press(rises: Sequence[Rise], expected_v: float, noise_v: float) -> list[Rise]:
    least, most = LIKE_A_PRESS
    return [
        rise
        for rise in rises
        if rise.end_s - rise.start_s >= SEEN_SHORTEST_S
        and least * expected_v < rise.rise_v < most * expected_v + 2.0 * noise_v
    ]


def _share(odds: float) -> float:
    return odds / (1.0 + odds)
