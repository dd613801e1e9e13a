"""A record that takes in packs at once, and a judge that says what it was told to say."""

import base64
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

from adapters.sql.work import SqlStore
from service.findings.testimony import Evidence
from service.findings.verdict import Surveyed, Verdict
from service.intake import Understander, receive
from service.model import Arrival
from service.ports import Work
from service.supply.fitout import FitOut
from tests.builders import CHIME, SITE, T0, arrival, pack

WINDOW = [{"n": "rail.mean", "u": "V", "v": 14.2}, {"n": "rail.window", "u": "s", "v": 60}]


def survey(volts: float = 14.0) -> list[dict[str, Any]]:
    """An idle and a test burst of four samples in 0.01 V."""
    codes = base64.urlsafe_b64encode(struct.pack("<4h", *([round(volts * 100)] * 4))).decode().rstrip("=")
    return [
        {"n": "rail.lsb", "u": "V", "v": 0.01},
        {"n": "rail.rate", "u": "Hz", "v": 2000},
        {"n": "rail.burst.idle", "u": "V", "t": -1.0, "vd": codes},
        {"n": "rail.burst.test", "u": "V", "t": -0.5, "vd": codes},
    ]


@dataclass
class Bench:
    """The record, and packs of boot 1 (power-up at T0) handed to it."""

    store: SqlStore
    seq: int = 0

    def take(self, *records: dict[str, Any], up_s: float, late_s: float = 0.05, boot: int = 1, **more: Any) -> None:
        self.take_arrival(arrival(pack(self.seq, *records, boot=boot, up_s=up_s), up_s + late_s, **more))
        self.seq += 1

    def take_arrival(self, *arrivals: Arrival) -> None:
        receive(self.store, arrivals)
        understander = Understander(self.store)
        while understander.process_pending():
            pass

    def do(self, action: Callable[[Work], Any], timeout_s: float = 10.0) -> Any:
        """As the keeper does it."""
        with self.store.work() as work:
            return action(work)


@dataclass
class FakeJudge:
    """Says `verdict`, as of the newest survey, or raises `trouble`, and remembers what it was shown."""

    verdict: Verdict = field(default_factory=Verdict)
    trouble: Exception | None = None
    shown: list[tuple[Evidence, Evidence | None, FitOut]] = field(default_factory=list)

    def __call__(self, now: Evidence, commissioning: Evidence | None, sheet: FitOut) -> Verdict:
        self.shown.append((now, commissioning, sheet))
        if self.trouble is not None:
            raise self.trouble
        if not now.surveys:
            return self.verdict
        return replace(self.verdict, surveyed=Surveyed(now.surveys[-1].at_s, self.verdict.quantities))


@pytest.fixture(params=["file", "memory"])
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Bench]:
    url = f"sqlite:///{tmp_path / 'record.sqlite'}" if request.param == "file" else "sqlite://"
    store = SqlStore(url, "Europe/London")
    yield Bench(store)
    store.close()


__all__ = ["CHIME", "SITE", "T0", "WINDOW", "Bench", "FakeJudge", "survey"]
