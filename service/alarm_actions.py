"""What a person may do about alarms: acknowledge, shelve, take out of service; add, change, switch and try rules; look how well they do.

Each change is one transaction in the writer's thread, and is recorded with who and why. Trials and figures are computed beside it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from service.alarm_facts import facts_of
from service.alarm_ports import KeptRule
from service.alarm_set import in_use
from service.alarming import Alarming, announce
from service.alarms.conditions import reach_s
from service.alarms.life import BY_PEOPLE, Event
from service.alarms.performance import Performance, performance
from service.alarms.proposal import Proposal, propose
from service.alarms.rule_form import read_rule
from service.alarms.rules import Rule, in_order
from service.alarms.standing import ask
from service.alarms.trial import DAY_S, Trial, spoken_in, try_on
from service.errors import NotFound, Refused
from service.keeper import Keeper
from service.model import Chime
from service.names import clean_note
from service.ports import Clock, Reader, Work

OFF_BY_HAND = "Somebody has switched it off."
LONGEST_TRIAL_DAYS = 400
MOST_RULES = 200
"""Of one chime (chosen: five times the ready set)."""

PERFORMANCE_DAYS = 30
WHY_LIMIT = 300


@dataclass(frozen=True, slots=True)
class Report:
    """`rules`: by id; where all chimes of a house are meant, the chime stands before the id."""

    performance: Performance
    rules: dict[str, Rule]
    proposals: tuple[Proposal, ...]


class AlarmActions:
    """Raises NotFound for a chime or rule that is not there; Refused with a sentence; StoreUnavailable.

    Parameters
    ----------
    apart : carries heavy work to a process of its own.
    """

    def __init__(
        self, reader: Reader, keeper: Keeper, alarming: Alarming, clock: Clock, apart: Callable[..., Any]
    ) -> None:
        self._reader, self._keeper, self._alarming, self._clock, self._apart = reader, keeper, alarming, clock, apart

    def rule(self, site: str, chime: str, rule_id: str) -> KeptRule:
        self._reader.chime(site, chime)
        found = next((one for one in self._reader.alarm_rules(site, chime) if one.rule.id == rule_id), None)
        if found is None:
            raise NotFound(f"chime {chime!r} at {site!r} has no rule {rule_id!r}")
        return found

    # alarms

    def ask(
        self, site: str, chime: str, rule_id: str, event: Event, who: str, why: str = "", until_s: float | None = None
    ) -> KeptRule:
        """One of what people may ask for, such as to acknowledge; the alarm afterwards."""
        if event not in BY_PEOPLE:
            raise Refused(f"Nobody can ask for {event.value!r}; it happens.")
        who, why = clean_note(who, 80) or "somebody", clean_note(why, WHY_LIMIT)

        def act(work: Work) -> None:
            kept = self.rule(site, chime, rule_id)
            if kept.off or kept.standing is None:
                raise Refused("The rule is switched off, or has not been looked at yet.")
            now_s = self._clock()
            step = ask(kept.rule, kept.standing, event, now_s, who, why, until_s)
            work.put_standings(site, chime, [(kept, step.standing)])
            announce(work, self._reader.chime(site, chime), [kept.rule], step.transitions, now_s)

        self._keeper.do(act)
        return self.rule(site, chime, rule_id)

    # rules

    def put(self, site: str, chime: str, given: Mapping[str, Any], who: str) -> KeptRule:
        """Add a rule, or change the one with this id. Raises RuleRefused with every mistake."""
        rule, by = read_rule(given), clean_note(who, 80) or "somebody"

        def act(work: Work) -> None:
            self._reader.chime(site, chime)
            kept = {one.rule.id: one for one in self._reader.alarm_rules(site, chime)}
            before = kept.get(rule.id)
            if before is None and len(kept) >= MOST_RULES:
                raise Refused(f"A chime can have {MOST_RULES} rules; remove one first.")
            in_order([*(one.rule for one in kept.values() if one.rule.id != rule.id), rule])
            same = before is not None and before.rule.watch == rule.watch
            work.put_rule(
                site,
                chime,
                KeptRule(
                    rule,
                    before.ready if before else None,
                    by,
                    before.off if before else "",
                    before.standing if before and same else None,  # what watches something else begins anew
                ),
            )

        self._changed(site, chime, act)
        return self.rule(site, chime, rule.id)

    def make_ready(self, site: str, chime: str, rule_id: str) -> KeptRule:
        """As the ready set has it, again. Raises Refused for somebody's own."""

        def act(work: Work) -> None:
            kept = self.rule(site, chime, rule_id)
            if kept.ready is None:
                raise Refused("This rule is somebody's own; the ready set does not know it.")
            same = kept.rule.watch == kept.ready.watch
            work.put_rule(
                site,
                chime,
                replace(kept, rule=kept.ready, changed_by="", standing=kept.standing if same else None),
            )

        self._changed(site, chime, act)
        return self.rule(site, chime, rule_id)

    def switch(self, site: str, chime: str, rule_id: str, on: bool, why: str) -> KeptRule:
        """Off: it is not looked at, suppresses nothing, and stands at normal when it comes back."""
        off = "" if on else clean_note(why, WHY_LIMIT) or OFF_BY_HAND
        self._changed(
            site,
            chime,
            lambda work: work.put_rule(site, chime, replace(self.rule(site, chime, rule_id), off=off, standing=None)),
        )
        return self.rule(site, chime, rule_id)

    def remove(self, site: str, chime: str, rule_id: str) -> None:
        """Somebody's own. What its alarm went through stays recorded."""

        def act(work: Work) -> None:
            if self.rule(site, chime, rule_id).ready is not None:
                raise Refused("It belongs to the ready set and would come back; switch it off.")
            needing = [
                one.rule.id for one in self._reader.alarm_rules(site, chime) if rule_id in one.rule.suppressed_by
            ]
            if needing:
                raise Refused(f"It suppresses {', '.join(needing)}; change these first.")
            work.remove_rule(site, chime, rule_id)

        self._changed(site, chime, act)

    # looking back

    def try_on(self, site: str, chime: str, given: Mapping[str, Any], days: float) -> Trial:
        """What this rule would have said in the last days, with the rules that suppress it as they are."""
        rule, heard = read_rule(given), self._reader.chime(site, chime)
        others = [one.rule for one in in_use(self._reader.alarm_rules(site, chime)) if one.rule.id != rule.id]
        to_s = self._clock()
        from_s = to_s - min(max(days, 1.0), LONGEST_TRIAL_DAYS) * DAY_S
        wanted = [rule, *(one for one in others if one.id in rule.suppressed_by)]
        since = {one.id: from_s - reach_s(one.watch) for one in [*wanted, *others]}
        facts = facts_of(self._reader, heard, [rule, *others], since, to_s)
        return try_on(rule, facts, from_s, to_s, others)

    def report(self, site: str, chime: str | None, days: float = PERFORMANCE_DAYS) -> Report:
        """How well the alarms of a chime, or of all of a house, did; and what would mend the worst rule."""
        self._reader.site(site)
        to_s = self._clock()
        from_s = to_s - min(max(days, 1.0), LONGEST_TRIAL_DAYS) * DAY_S
        chimes = [one for one in self._reader.chimes(site, claimed=True) if chime in (None, one.chime)]
        from_s = max(from_s, min((one.first_heard_s for one in chimes), default=to_s))

        def name(of: str, rule_id: str) -> str:
            return rule_id if chime is not None else f"{of}/{rule_id}"

        rules: dict[str, tuple[Chime, Rule]] = {
            name(one.chime, kept.rule.id): (one, kept.rule)
            for one in chimes
            for kept in self._reader.alarm_rules(site, one.chime)
        }
        went = [
            replace(one, rule=name(of, one.rule))
            for of, one in self._reader.alarm_transitions(site, chime, from_s, to_s)
        ]
        named = {key: replace(rule, id=key) for key, (_, rule) in rules.items()}
        found = performance(spoken_in(went), list(named.values()), from_s, to_s)
        proposals: tuple[Proposal, ...] = ()
        if found.worst is not None and found.worst.rule in rules:
            of, rule = rules[found.worst.rule]
            facts = facts_of(self._reader, of, [rule], {rule.id: from_s - reach_s(rule.watch)}, to_s)
            proposals = self._apart(propose, rule, facts)
        return Report(found, named, proposals)

    def _changed(self, site: str, chime: str, act: Callable[[Work], None]) -> None:
        self._keeper.do(act)
        self._alarming.hurry(site, chime)
