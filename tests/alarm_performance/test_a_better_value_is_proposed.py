"""For a rule that is a nuisance, the smallest deadband or delay is proposed that would have ended it, and lost nothing that lasted."""

import doctest
from dataclasses import replace

import numpy as np
import pytest

from service.alarms import proposal
from service.alarms.facts import Facts, Pressed, Reading
from service.alarms.proposal import KEEP_S, Proposal, activations, nuisance_of, propose
from service.alarms.rules import HeldPress, QuantityBeyond, Rule

LOW = Rule("rail-low", QuantityBeyond("rail_min_v", "below", 10.0), "cause", "consequence", "action")


def rail(values: dict[float, float], to_s: float = 100_000.0) -> Facts:
    return Facts(0.0, to_s, {"rail_min_v": [Reading(*one) for one in sorted(values.items())]})


def around_the_limit() -> Facts:
    """A rail that hovers at its limit for ten minutes, with noise of 0.1 V every five seconds, before and after well above."""
    random = np.random.default_rng(7)
    hover = {30_000.0 + 5.0 * n: 9.98 + float(random.normal(0.0, 0.1)) for n in range(120)}
    return rail({0.0: 12.0} | hover | {30_600.0: 12.0})


def by_field(found: tuple[Proposal, ...]) -> dict[str, Proposal]:
    return {one.field: one for one in found}


def test_examples_hold() -> None:
    tried = doctest.testmod(proposal)
    assert tried.attempted
    assert not tried.failed


def test_chattering_is_ended_by_the_smallest_deadband() -> None:
    facts = around_the_limit()
    assert nuisance_of(activations(LOW, facts)) == "chattering"
    found = propose(LOW, facts)
    best = found[0]
    assert (best.field, best.nuisance) == ("deadband", "chattering")
    assert best.after <= 2
    assert best.before > 10
    assert nuisance_of(activations(best.rule, facts)) is None
    # a hundredth less in its two digits, and a nuisance is left
    step = 10.0 ** np.floor(np.log10(best.value)) / 10.0
    assert nuisance_of(activations(replace(LOW, deadband=best.value - step), facts)) is not None
    assert best.rule == replace(LOW, deadband=best.value)


def test_an_off_delay_ends_it_as_well() -> None:
    facts = around_the_limit()
    remedy = by_field(propose(LOW, facts))["off_delay_s"]
    assert nuisance_of(activations(remedy.rule, facts)) is None
    assert remedy.sentence == (
        f"An off-delay of {remedy.value:g} s would have ended the chattering: active {remedy.after} instead of {remedy.before} times."
    )
    quicker = activations(replace(LOW, off_delay_s=remedy.value - 1.0), facts)
    assert nuisance_of(quicker) is not None


def test_a_fleeting_one_is_ended_by_an_on_delay_that_keeps_what_lasts() -> None:
    blips = {10_000.0 * n: 9.0 for n in range(1, 6)} | {10_000.0 * n + 20.0: 12.0 for n in range(1, 6)}
    facts = rail({0.0: 12.0} | blips | {80_000.0: 9.0, 80_000.0 + KEEP_S + 1.0: 12.0})
    best = propose(LOW, facts)[0]
    assert (best.field, best.value, best.before, best.after) == ("on_delay_s", 21.0, 6, 1)
    assert activations(best.rule, facts)[0].start_s == 80_021.0


def test_nothing_is_proposed_that_would_lose_what_lasted() -> None:
    """Fleeting ones of 50 s, and one that lasted only 40 s and is to be kept: no on-delay does both."""
    facts = rail({0.0: 12.0, 10_000.0: 9.0, 10_050.0: 12.0, 30_000.0: 9.0, 30_040.0: 12.0})
    assert "on_delay_s" in by_field(propose(LOW, facts, keep_s=60.0))
    assert propose(LOW, facts, keep_s=30.0) == ()


def test_no_deadband_is_proposed_that_would_never_let_go() -> None:
    """After each blip the rail is only as well as it ever is; a deadband past that would keep the alarm for good."""
    blips = {1000.0 * n: 9.0 for n in range(1, 20)} | {1000.0 * n + 90.0: 10.5 for n in range(1, 20)}
    facts = rail({0.0: 10.5} | blips)
    found = by_field(propose(LOW, facts))
    assert "deadband" not in found
    assert found["off_delay_s"].after == 1


def test_what_is_no_nuisance_gets_no_proposal() -> None:
    assert propose(LOW, rail({0.0: 12.0, 10_000.0: 9.0, 20_000.0: 12.0})) == ()
    assert propose(LOW, rail({0.0: 12.0})) == ()


def test_a_sticky_button_is_joined_to_one_alarm() -> None:
    presses = [Pressed("front", 1000.0 + 100.0 * n, 1000.0 + 100.0 * n + 95.0) for n in range(10)]
    held = Rule("held-front", HeldPress(30.0, "front"), "cause", "consequence", "action")
    facts = Facts(0.0, 90_000.0, presses=presses)
    best = propose(held, facts)[0]
    assert (best.field, best.nuisance, best.before, best.after) == ("off_delay_s", "repeating", 10, 1)
    assert best.value == 36.0  # the button is free for 5 s, and held for 30 s before it counts again


@pytest.mark.parametrize("deadband", [0.0, 0.05])
def test_a_rule_that_has_a_value_already_is_given_more_of_it(deadband: float) -> None:
    facts = around_the_limit()
    for one in propose(replace(LOW, deadband=deadband, off_delay_s=1.0), facts):
        assert getattr(one.rule, one.field) > getattr(replace(LOW, deadband=deadband, off_delay_s=1.0), one.field)
