"""Promise: what pulses and cycle maxima show of a button is told, and what is no fault is not.

Signals are made in closed form: one pulse per cycle while the button is pressed, the maxima a diode drop higher meanwhile
(half-wave supply with a diode across the button; drop of a 1N4007 at some milliamperes, check values measured with ngspice 39.3).
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest

from service.findings.feeding import feeding
from service.findings.judge import judge
from service.findings.testimony import Evidence, Powered
from service.findings.verdict import Verdict
from service.supply.fitout import FitOut, FittedDoor

CYCLE_S, WIDTH_S, RISE_V, LEVEL_V = 0.02, 0.007, 0.7, 18.0
SHEET = FitOut(mains_hz=50.0, detector_ohm=4700.0, detector_on_a=1e-3, doors=(FittedDoor("front", True),))


@dataclass(frozen=True)
class Day:
    """Half a minute at a door with eight presses."""

    rise_v: float = RISE_V
    open_cycles: tuple[int, ...] = ()  # of each press: cycles without a pulse
    chatter: int = 0  # of each press: openings of 1 ms inside its first pulses
    pulses: bool = True
    standing_width_s: float | None = None  # pulses all the time, of this width
    seed: int = 1

    def evidence(self) -> Evidence:
        random = np.random.default_rng(self.seed)
        at = np.arange(0.0, 30.0, CYCLE_S)
        maxima = LEVEL_V + random.normal(0.0, 0.015, len(at))
        presses = [2.0 + 3.4 * k + 0.0073 for k in range(8)]
        pulses = []
        for start in presses:
            cycles = range(int(random.integers(12, 30)))
            first = int(np.ceil(start / CYCLE_S))
            maxima[first + 1 : first + len(cycles)] += self.rise_v
            for k in cycles:
                rise = (first + k) * CYCLE_S + 0.011
                if k in self.open_cycles:
                    continue
                if k < self.chatter:
                    pulses += [(rise, rise + 0.003), (rise + 0.004, rise + WIDTH_S)]
                else:
                    pulses.append((rise, rise + WIDTH_S))
        if self.standing_width_s is not None:
            pressed = {round(rise / CYCLE_S) for rise, _ in pulses}
            pulses += [
                (t + 0.011, t + 0.011 + self.standing_width_s)
                for t in at
                if round((t + 0.011) / CYCLE_S) not in pressed
            ]
        return Evidence(
            cycle_at_s=at,
            cycle_s=CYCLE_S,
            maxima_v=maxima,
            minima_v=maxima - 0.1,
            loads=((0.0, "idle"),),
            pulses={"front": np.array(sorted(pulses))} if self.pulses else {},
            powered=(Powered(0.0, 30.0),),
        )


def names(verdict: Verdict) -> set[str]:
    return {finding.name for finding in verdict.findings}


def judged(day: Day, sheet: FitOut = SHEET) -> Verdict:
    return judge(day.evidence(), Day(seed=7).evidence(), sheet)


@pytest.mark.parametrize("seed", range(5))
def test_good_presses_are_no_finding(seed: int) -> None:
    assert names(judged(Day(seed=seed))) == set()
    assert names(judge(Day(seed=seed).evidence(), None, SHEET)) == set()


def test_pulses_missing_while_the_button_is_held() -> None:
    assert "contact-drops-out" in names(judged(Day(open_cycles=(5, 8))))


def test_a_contact_that_bounces() -> None:
    assert "contact-bounce" in names(judged(Day(chatter=4)))
    assert "contact-drops-out" not in names(judged(Day(chatter=4)))


def test_pulses_without_a_rise_come_through_a_resistance() -> None:
    assert "contact-resistance" in names(judged(Day(rise_v=0.0)))


def test_rises_without_a_pulse_are_a_dead_detector() -> None:
    assert "detector-dead" in names(judged(Day(pulses=False)))


def test_full_pulses_that_stand_are_a_bridged_diode_or_a_contact_that_sticks() -> None:
    answer = judged(Day(rise_v=0.0, standing_width_s=WIDTH_S))
    first = answer.findings[0]
    assert {first.name, *first.also_possible} >= {"button-diode-shorted", "contact-stuck"}


def test_narrower_pulses_that_stand_are_a_lamp_or_a_leak() -> None:
    """The wider presses inside tell them from a bridged diode."""
    answer = judged(Day(standing_width_s=0.0045))
    assert answer.findings[0].name in ("lamp-in-button", "leak-across-button")


def test_a_door_that_is_not_pressed_is_not_judged() -> None:
    quiet = replace(Day(pulses=False, rise_v=0.0).evidence(), pulses={})
    answer = judge(quiet, Day(seed=7).evidence(), SHEET)
    assert names(answer) == set()
    assert not any(name.startswith("contact-") for name, _ in answer.judged)


# ── the standing supply ─────────────────────────────────────────────────────────────────────────────────────────────────


def living_on_its_reservoir(pulsed: bool) -> Evidence:
    """Pressed for half a second in each two: then the rail falls by 5 V/s (5 mA out of 1000 uF: I / C)."""
    at = np.arange(0.0, 20.0, CYCLE_S)
    since = np.mod(at, 2.0)
    maxima = LEVEL_V - 5.0 * np.clip(since - 0.5, 0.0, None)
    shown = at if pulsed else at[since < 0.5]
    pulses = np.stack([shown + 0.011, shown + 0.011 + WIDTH_S], axis=1)
    return Evidence(
        cycle_at_s=at,
        cycle_s=CYCLE_S,
        maxima_v=maxima,
        minima_v=maxima - 0.1,
        loads=((0.0, "idle"),),
        pulses={"front": pulses},
        powered=(Powered(0.0, 20.0),),
    )


def test_an_open_diode_feeds_only_while_pressed() -> None:
    fed = feeding(living_on_its_reservoir(pulsed=False), CYCLE_S, 5.0)
    assert fed.lost
    assert fed.pulses_while_falling < 0.2
    assert fed.falling_still_s == pytest.approx(15.0, rel=0.15)
    assert judge(living_on_its_reservoir(pulsed=False), None, SHEET).findings[0].name == "button-diode-open"


def test_a_reversed_diode_pulses_on_the_falling_rail() -> None:
    fed = feeding(living_on_its_reservoir(pulsed=True), CYCLE_S, 5.0)
    assert fed.lost
    assert fed.pulses_while_falling > 0.9
    assert judge(living_on_its_reservoir(pulsed=True), None, SHEET).findings[0].name == "button-diode-reversed"


def test_a_rail_that_stands_is_fed() -> None:
    fed = feeding(Day().evidence(), CYCLE_S, 5.0)
    assert not fed.lost
    assert fed.falling_still_s < 1.0
    assert fed.fed_still_s > 15.0


def test_too_few_cycles_say_nothing() -> None:
    assert not feeding(Evidence(), CYCLE_S, 5.0).lost


def test_likelihoods_are_in_order() -> None:
    answer = judged(Day(open_cycles=(5, 8), chatter=4))
    assert {"contact-drops-out", "contact-bounce"} <= names(answer)
    assert all(a.likelihood >= b.likelihood for a, b in pairwise(answer.findings))
