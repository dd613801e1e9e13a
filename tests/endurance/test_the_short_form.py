"""A house that is killed, cut off, filled up and put an hour wrong keeps each press once, and says when it could not.

The short form of deploy/endure, each broker once: a few chimes, some seconds, a few blows of each kind.
"""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from deploy.endurance.clock import libfaketime

ROOT = Path(__file__).parents[2]
WITHIN_S = 120.0


@pytest.fixture(scope="module")
def found() -> dict[str, dict[str, Any]]:
    """The figures of both runs, which go on side by side."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])}
    running = {
        broker: subprocess.Popen(
            [sys.executable, "-P", "-m", "deploy.endurance", "--broker", broker, "--brief", "--chimes", "5", "--json"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
        )
        for broker in ("embedded", "mosquitto")
    }
    try:
        answers = {broker: process.communicate(timeout=WITHIN_S) for broker, process in running.items()}
    finally:
        for process in running.values():
            process.kill()
    return {broker: {**json.loads(said), "remarks": remarks} for broker, (said, remarks) in answers.items()}


@pytest.mark.parametrize("broker", ["embedded", "mosquitto"])
def test_nothing_is_lost_doubled_or_invented(found: dict[str, dict[str, Any]], broker: str) -> None:
    run = found[broker]
    assert run["made"] >= 25, run
    assert run["once"] >= 5, run
    assert (run["lost"], run["doubled"], run["invented"], run["unexpected"]) == (0, 0, 0, 0), run["remarks"]


@pytest.mark.parametrize("broker", ["embedded", "mosquitto"])
def test_every_press_that_could_not_be_recorded_lies_in_a_blind_interval(
    found: dict[str, dict[str, Any]], broker: str
) -> None:
    run = found[broker]
    assert run["unrecordable"] > 0, run
    assert run["covered"] == run["unrecordable"], run["remarks"]


@pytest.mark.parametrize("broker", ["embedded", "mosquitto"])
def test_all_that_was_planned_befell_it(found: dict[str, dict[str, Any]], broker: str) -> None:
    run = found[broker]
    assert run["service_kills"] >= 2, run
    assert run["broker_kills"] >= 1, run
    assert run["fills"] == 1, run
    assert run["steps"] == (2 if libfaketime() else 0), run
    assert run["rubbish"] > 0, run
    assert run["quarantined"] >= run["rubbish"], run  # a broker may deliver what is broken twice as well
    assert run["sent_again"] > 0, run
    assert run["duplicates"] > 0, run
