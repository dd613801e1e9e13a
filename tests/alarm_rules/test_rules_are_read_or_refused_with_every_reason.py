"""A rule is read from plain JSON whole, or refused with every mistake at once, each beside its field."""

import doctest
import json
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.alarms import rule_form
from service.alarms.quantities import QUANTITIES
from service.alarms.rule_form import KINDS, read_rule, write_rule
from service.alarms.rules import (
    BlindTime,
    HeldPress,
    ManyVisits,
    NoPack,
    OpenFinding,
    Priority,
    QuantityBeyond,
    QuietPress,
    Rule,
    RuleRefused,
    Trend,
    in_order,
)
from service.errors import Refused
from service.findings.advice import ADVICE

TEXTS = {"cause": "The rail is low.", "consequence": "The chime may stop.", "action": "Look at the transformer."}
GOOD: dict[str, Any] = {
    "id": "rail-low",
    "watch": {"kind": "quantity", "name": "rail_min_v", "side": "below", "limit": 9.5, "worse": 9},
    **TEXTS,
    "priority": "high",
    "latching": True,
    "on_delay_s": 60,
    "off_delay_s": 60.5,
    "deadband": 0.2,
    "realarm_s": 86400,
    "suppressed_by": ["power-out"],
}


def refused(given: Any) -> dict[str, str]:
    with pytest.raises(RuleRefused) as caught:
        read_rule(given)
    return {problem.field: problem.reason for problem in caught.value.problems}


def test_a_rule_is_read() -> None:
    assert read_rule(GOOD) == Rule(
        "rail-low",
        QuantityBeyond("rail_min_v", "below", 9.5, 9.0),
        **TEXTS,
        priority=Priority.HIGH,
        latching=True,
        on_delay_s=60.0,
        off_delay_s=60.5,
        deadband=0.2,
        realarm_s=86400.0,
        suppressed_by=("power-out",),
    )


def test_examples_hold() -> None:
    tried = doctest.testmod(rule_form)
    assert tried.attempted
    assert not tried.failed


def test_every_reason_is_told_at_once() -> None:
    wrong = GOOD | {
        "id": "Rail low",
        "watch": {"kind": "quantity", "name": "rail_v", "side": "under", "limit": "9.5"},
        "action": "  ",
        "priority": "urgent",
        "on_delay_s": -1,
        "realarm": 60,
        "suppressed_by": "power-out",
    }
    reasons = refused(wrong)
    assert set(reasons) == {
        "id",
        "watch.name",
        "watch.side",
        "watch.limit",
        "action",
        "priority",
        "on_delay_s",
        "realarm",
        "suppressed_by",
    }
    assert reasons["priority"] == "'urgent' must be one of critical, high, medium, low."
    assert reasons["on_delay_s"] == "-1 must be a number from 0 to 3.16224e+07 s."
    assert reasons["realarm"] == "There is no such field; perhaps realarm_s is meant."


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"watch": None}, "watch"),
        ({"watch": []}, "watch"),
        ({"watch": {"kind": "weather"}}, "watch.kind"),
        ({"watch": {"kind": ["quantity"]}}, "watch.kind"),
        ({"watch": {"kind": "quantity", "name": "rail_min_v", "side": "below", "limit": 400}}, "watch.limit"),
        ({"watch": {"kind": "quantity", "name": "rail_min_v", "side": "below", "limit": 9, "worse": 9}}, "watch.worse"),
        ({"watch": {"kind": "quantity", "name": "rail_min_v", "side": "above", "limit": 9, "worse": 8}}, "watch.worse"),
        ({"watch": {"kind": "quantity", "name": "rail_min_v", "side": "below", "limit": float("nan")}}, "watch.limit"),
        ({"watch": {"kind": "quantity", "name": "rail_min_v", "side": "below", "limit": True}}, "watch.limit"),
        ({"deadband": 1000}, "deadband"),
        ({"deadband": 0.1, "watch": {"kind": "held", "longer_than_s": 30}}, "deadband"),
        ({"watch": {"kind": "finding", "names": ["reservoir-old"]}}, "watch.names"),
        ({"watch": {"kind": "finding", "likelihood": 1.2}}, "watch.likelihood"),
        ({"watch": {"kind": "visits", "more_than": 0, "within_s": 600}}, "watch.more_than"),
        ({"watch": {"kind": "visits", "more_than": 2.5, "within_s": 600}}, "watch.more_than"),
        ({"watch": {"kind": "visits", "within_s": 600}}, "watch.more_than"),
        ({"watch": {"kind": "quiet-hours", "begins": "22:00", "ends": "24:00"}}, "watch.ends"),
        ({"watch": {"kind": "quiet-hours", "begins": "22:00", "ends": "22:00"}}, "watch.ends"),
        ({"watch": {"kind": "held", "longer_than_s": 30, "door": "Front door"}}, "watch.door"),
        ({"watch": {"kind": "no-pack", "longer_than_s": 0}}, "watch.longer_than_s"),
        ({"watch": {"kind": "blind-time", "within_s": 3600}}, "watch.longer_than_s"),
        ({"watch": {"kind": "blind-time", "within_s": 3600, "longer_than_s": 60, "share": 0.1}}, "watch.longer_than_s"),
        ({"watch": {"kind": "blind-time", "within_s": 3600, "longer_than_s": 3600}}, "watch.longer_than_s"),
        ({"watch": {"kind": "blind-time", "within_s": 3600, "share": 1.0}}, "watch.share"),
        ({"suppressed_by": ["rail-low"]}, "suppressed_by"),
        ({"realarm_s": 60}, "realarm_s"),  # people would be called every minute
        ({"latching": "yes"}, "latching"),
        ({"cause": "x" * 501}, "cause"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(change: dict[str, Any], field: str) -> None:
    given = {name: value for name, value in (GOOD | {"deadband": 0.0} | change).items() if value is not None}
    assert list(refused(given)) == [field]


@pytest.mark.parametrize("given", [None, [], "rule", 3])
def test_what_is_no_object_is_refused(given: Any) -> None:
    assert list(refused(given)) == ["rule"]


def test_what_is_missing_is_named() -> None:
    assert set(refused({})) == {"id", "watch", "cause", "consequence", "action"}


def test_a_refusal_is_one_of_the_family() -> None:
    with pytest.raises(Refused, match=r"watch: It is missing\."):
        read_rule({name: value for name, value in GOOD.items() if name != "watch"})


WHILE = st.floats(1.0, 1e6)
DOOR = st.none() | st.sampled_from(["front", "garden"])
CLOCK = st.tuples(st.integers(0, 23), st.integers(0, 59)).map(lambda clock: f"{clock[0]:02}:{clock[1]:02}")
WATCHES = st.one_of(
    st.builds(
        QuantityBeyond, st.just("rail_min_v"), st.just("below"), st.floats(5.0, 50.0), st.none() | st.floats(0.0, 4.0)
    ),
    st.builds(
        Trend, st.sampled_from(sorted(QUANTITIES)), st.sampled_from(["above", "below"]), st.floats(-1.0, 1.0), WHILE
    ),
    st.builds(
        OpenFinding, st.lists(st.sampled_from(sorted(ADVICE))).map(tuple), st.floats(0.0, 1.0), st.booleans(), DOOR
    ),
    st.builds(HeldPress, WHILE, DOOR),
    st.builds(ManyVisits, st.integers(1, 1000), WHILE, DOOR),
    st.builds(QuietPress, CLOCK, CLOCK, DOOR).filter(lambda watch: watch.begins != watch.ends),
    st.builds(NoPack, WHILE),
    st.builds(
        BlindTime,
        st.just(3600.0),
        st.none(),
        st.floats(0.0, 0.99),
        st.none() | st.just("chime silent"),
        st.none() | st.just(60.0),
    ),
)


@given(WATCHES, st.sampled_from(Priority), st.booleans(), st.floats(0.0, 1e6), st.none() | st.floats(3600.0, 1e6))
def test_what_is_written_is_read_again(
    watch: Any, priority: Priority, latching: bool, delay_s: float, realarm_s: float | None
) -> None:
    rule = Rule("one", watch, **TEXTS, priority=priority, latching=latching, on_delay_s=delay_s, realarm_s=realarm_s)
    written = json.loads(json.dumps(write_rule(rule), allow_nan=False))
    assert read_rule(written) == rule


def test_each_kind_of_watch_has_its_name() -> None:
    assert len(KINDS) == len(set(KINDS.values())) == 8


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from([*GOOD, "watch.name", "watch.side", "watch.limit", "watch.worse", "watch.kind"]), JSON)
def test_no_json_does_more_than_be_refused(field: str, value: Any) -> None:
    outer, _, inner = field.partition(".")
    changed = GOOD | {outer: GOOD["watch"] | {inner: value} if inner else value}
    with suppress(RuleRefused):
        assert read_rule(changed).id


def rule(name: str, *suppressed_by: str) -> Rule:
    return Rule(name, NoPack(60.0), **TEXTS, suppressed_by=suppressed_by)


def test_suppressors_come_first() -> None:
    assert [one.id for one in in_order([rule("c", "b"), rule("b", "a"), rule("a")])] == ["a", "b", "c"]


@pytest.mark.parametrize(
    ("rules", "reason"),
    [
        ([rule("a", "b"), rule("b", "c"), rule("c", "a")], "in a circle: a, b, c"),
        ([rule("a", "b")], "a names b, and there is no such rule"),
        ([rule("a"), rule("a")], "a is given to more than one rule"),
    ],
)
def test_a_set_that_cannot_be_is_refused(rules: list[Rule], reason: str) -> None:
    with pytest.raises(RuleRefused, match=reason):
        in_order(rules)
