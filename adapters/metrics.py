"""Figures of the record and of the service as OpenMetrics 1.0, for whoever keeps time series. Made at each asking.

Nothing here scans the presses of years: what is counted over all time is counted by the writer as it goes, the rest over a day.
"""

import resource
import sys
from collections.abc import Iterable
from pathlib import Path

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector, CollectorRegistry

from service.health import Health
from service.model import Chime
from service.ports import Clock, Reader
from service.presses.blind import covered_s

DAY_S = 86_400.0
PAGE = 1000

__all__ = ["CONTENT_TYPE_LATEST", "Figures", "exposition"]


def exposition(reader: Reader, health: Health, clock: Clock) -> bytes:
    registry = CollectorRegistry()
    registry.register(Figures(reader, health, clock))
    return bytes(generate_latest(registry))  # type: ignore[no-untyped-call]


class Figures(Collector):
    def __init__(self, reader: Reader, health: Health, clock: Clock) -> None:
        self._reader, self._health, self._clock = reader, health, clock

    def describe(self) -> Iterable[Metric]:
        return ()  # so that registering asks nothing of the record

    def collect(self) -> Iterable[Metric]:
        yield InfoMetricFamily("bellcrank", "The running service.", {"version": self._health.version})
        yield from self._packs()
        yield from self._of_service()
        chimes = self._reader.chimes(claimed=True)
        yield from self._of_chimes(chimes)
        yield from self._of_supply(chimes)
        yield from self._of_alarms(chimes)
        yield from self._of_outlets()

    def _packs(self) -> Iterable[Metric]:
        counts = self._reader.counts()
        packs = CounterMetricFamily("bellcrank_packs", "Packs by what became of them.", labels=["fate"])
        for fate in ("kept", "duplicates", "quarantined", "refused"):
            packs.add_metric([fate], getattr(counts, fate))
        yield packs
        yield GaugeMetricFamily("bellcrank_packs_pending", "Packs kept and not yet understood.", counts.pending)

    def _of_service(self) -> Iterable[Metric]:
        yield GaugeMetricFamily(
            "bellcrank_start_time_seconds", "When the service began.", self._health.started_s, unit="seconds"
        )
        yield GaugeMetricFamily("bellcrank_resident_memory_bytes", "Memory it holds.", _resident(), unit="bytes")

    def _of_chimes(self, chimes: Iterable[Chime]) -> Iterable[Metric]:
        place = ["site", "chime"]
        alive = GaugeMetricFamily(
            "bellcrank_chime_present", "1: its presence topic says so; 0: it says not.", labels=place
        )
        heard = GaugeMetricFamily(
            "bellcrank_chime_heard_seconds", "When it was heard last.", labels=place, unit="seconds"
        )
        blind = GaugeMetricFamily(
            "bellcrank_blind_ratio",
            "Share of the last day in which no press could have been recorded.",
            labels=place,
            unit="ratio",
        )
        presses = GaugeMetricFamily(
            "bellcrank_day_presses", "Presses of the last day, doubtful ones left out.", labels=[*place, "door"]
        )
        now_s = self._clock()
        for chime in chimes:
            labels = [chime.site, chime.chime]
            if chime.alive is not None:
                alive.add_metric(labels, float(chime.alive))
            heard.add_metric(labels, chime.last_heard_s)
            start_s = max(now_s - DAY_S, chime.first_heard_s)
            stretches = [
                (one.start_s, now_s if one.end_s is None else one.end_s)
                for one in self._reader.blind_spells(chime.site, start_s, now_s, now_s)
                if one.chime == chime.chime and one.door is None
            ]
            blind.add_metric(labels, covered_s(stretches, start_s, now_s) / max(now_s - start_s, 1.0))
            found, _ = self._reader.presses(chime.site, now_s - DAY_S, now_s, chime=chime.chime, limit=PAGE)
            for door in self._reader.doors(chime.site, chime.chime):
                count = sum(press.door == door.door and not press.doubtful for press in found)
                presses.add_metric([*labels, door.door], count)
        yield from (alive, heard, blind, presses)

    def _of_supply(self, chimes: Iterable[Chime]) -> Iterable[Metric]:
        place = ["site", "chime"]
        rail = GaugeMetricFamily(
            "bellcrank_rail_volts", "The newest window of the rail.", labels=[*place, "of"], unit="volts"
        )
        measured = GaugeMetricFamily(
            "bellcrank_supply",
            "What the newest survey measured, in the SI unit that ends its name.",
            labels=[*place, "quantity"],
        )
        findings = GaugeMetricFamily(
            "bellcrank_finding_likelihood", "Open findings.", labels=[*place, "finding", "door"]
        )
        for chime in chimes:
            labels = [chime.site, chime.chime]
            point = self._reader.latest_supply(*labels)
            for of in ("mean", "min", "max", "low"):
                value = getattr(point, f"{of}_v") if point is not None else None
                if value is not None:
                    rail.add_metric([*labels, of], value)
            for one in self._reader.latest_quantities(*labels):
                measured.add_metric([*labels, one.name], one.measured.value)
            for held in self._reader.findings(*labels):
                findings.add_metric([*labels, held.finding.name, held.finding.door or ""], held.finding.likelihood)
        yield from (rail, measured, findings)

    def _of_alarms(self, chimes: Iterable[Chime]) -> Iterable[Metric]:
        alarms = GaugeMetricFamily("bellcrank_alarms", "Alarms by how they stand.", labels=["site", "chime", "state"])
        for chime in chimes:
            states: dict[str, int] = {}
            for kept in self._reader.alarm_rules(chime.site, chime.chime):
                if kept.standing is not None and not kept.off:
                    state = kept.standing.alarm.state.value
                    states[state] = states.get(state, 0) + 1
            for state, count in sorted(states.items()):
                alarms.add_metric([chime.site, chime.chime, state], count)
        yield alarms

    def _of_outlets(self) -> Iterable[Metric]:
        letters = GaugeMetricFamily("bellcrank_letters", "Events on their way out.", labels=["outlet", "state"])
        for outlet in self._reader.outlets():
            waiting = self._reader.outbox(outlet.id)
            letters.add_metric([outlet.name, "waiting"], waiting.waiting)
            letters.add_metric([outlet.name, "dead"], waiting.dead)
        yield letters


def _resident() -> float:
    """Bytes; where the system does not tell, the most it has been."""
    status = Path("/proc/self/statm")
    if status.exists():
        return float(int(status.read_text().split()[1]) * resource.getpagesize())
    return float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) * (1.0 if sys.platform == "darwin" else 1024.0)
