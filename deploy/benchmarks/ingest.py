"""Ingest through Mosquitto as a ratio to a subscriber that only acknowledges.

Both get the same packs from a persistent session, in turn, in processes of their own. The service's rate counts until the last
pack is committed and acknowledged; beside it stands the rate until the last one is also understood.
"""

import json
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from benchmarks import rig
from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

COUNT = 20_000
ROUNDS = 5


def only_acknowledge(port: int, count: int) -> float:
    """Seconds from the first message to the last acknowledgement."""
    client = Client(
        CallbackAPIVersion.VERSION2, "acknowledger", clean_session=False, protocol=MQTTv311, manual_ack=True
    )
    done, times = threading.Event(), [0.0, 0.0]
    seen = 0

    def on_message(client: Client, _: object, message: object) -> None:
        nonlocal seen
        if seen == 0:
            times[0] = time.perf_counter()
        client.ack(message.mid, 1)  # type: ignore[attr-defined]
        seen += 1
        if seen == count:
            times[1] = time.perf_counter()
            done.set()

    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.loop_start()
    done.wait(120)
    client.disconnect()
    client.loop_stop()
    return times[1] - times[0]


def service(port: int, count: int) -> tuple[float, float]:
    """Seconds from the first message until all are committed and acknowledged, and until all are understood."""
    from adapters.mqtt import BrokerAccess, Listener
    from adapters.sql.work import SqlStore
    from service.health import Health
    from service.intake import Understander
    from service.keeper import Keeper
    from service.model import Arrival

    with tempfile.TemporaryDirectory() as folder:
        store = SqlStore(f"sqlite:///{Path(folder) / 'record.sqlite'}")
        health = Health("bench", time.time(), "")
        kept, done, times = 0, threading.Event(), [0.0, 0.0]

        class Counted(Listener):
            """Looks at the clock when the first has come and when the last has been acknowledged."""

            def collect(self, limit: int) -> list[Arrival]:
                nonlocal kept
                arrivals = super().collect(limit)
                if arrivals and times[0] == 0.0:
                    times[0] = time.perf_counter()
                kept += len(arrivals)
                return arrivals

            def kept(self) -> None:
                super().kept()
                if kept == count:
                    times[1] = time.perf_counter()
                    done.set()

        listener = Counted(BrokerAccess(f"mqtt://127.0.0.1:{port}"), "bellcrank", health, time.time)
        keeper = Keeper(store, listener, Understander(store), health, time.time, lambda events: None)
        thread = threading.Thread(target=keeper.run, daemon=True)
        thread.start()
        done.wait(120)
        while store.reader().counts().pending:
            time.sleep(0.01)
        understood = time.perf_counter()
        keeper.stop()
        thread.join()
        counts = store.reader().counts()
        assert (counts.kept, counts.duplicates, counts.quarantined) == (count, 0, 0), counts
        return times[1] - times[0], understood - times[0]


def main() -> None:
    if len(sys.argv) > 2:
        port, part = int(sys.argv[2]), {"acknowledge": only_acknowledge, "service": service}[sys.argv[1]]
        print(json.dumps(part(port, COUNT)))
        return
    ratios, rates = [], []
    for round_number in range(ROUNDS):
        with rig.mosquitto() as port:
            for session in ("acknowledger", "bellcrank"):
                rig.subscribe_ahead(port, session)
            rig.publish(port, COUNT)
            order = ("acknowledge", "service") if round_number % 2 == 0 else ("service", "acknowledge")
            seconds = {part: json.loads(_in_process(part, port)) for part in order}
        base, (kept, understood) = COUNT / seconds["acknowledge"], (COUNT / t for t in seconds["service"])
        ratios.append(kept / base)
        rates.append((base, kept, understood))
        print(
            f"round {round_number + 1}: acknowledge only {base:7.0f}/s, kept {kept:7.0f}/s ({kept / base:.2f}), "
            f"understood {understood:7.0f}/s"
        )
    print(f"ingest ratio, median of {ROUNDS}: {statistics.median(ratios):.2f} (lowest {min(ratios):.2f})")


def _in_process(part: str, port: int) -> bytes:
    return subprocess.run([sys.executable, __file__, part, str(port)], check=True, capture_output=True).stdout


if __name__ == "__main__":
    main()
