"""How long a pack takes from the publisher to the disk, and to a browser that listens.

A hundred packs a second for 20 s through Mosquitto into `bellcrank run`, from twenty chimes that each ring every two seconds;
two seconds before that are not counted. Publisher, broker, service and the listener to `/api/v1/stream` are processes of their
own on one machine, so `time.monotonic` is one clock for all. "Committed" is when the service begins to acknowledge.
"""

import http.client
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

from benchmarks import rig
from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

RATE_HZ, WARM_UP_S, LASTING_S = 100.0, 2.0, 20.0
CHIMES = 20
PRESS_EVERY = 10
FIRST_UP_S = 60.0

# A pack is known again by its number, which its mean voltage carries as far as the record and the stream.
LOWEST_V, STEP_V = 12.0, 0.001


def number_of(mean_v: float) -> int:
    return round((mean_v - LOWEST_V) / STEP_V)


def publish(port: int, count: int) -> list[float]:
    """When each pack was handed to the client [monotonic s]."""
    client = Client(CallbackAPIVersion.VERSION2, "sender", protocol=MQTTv311)
    client.connect("127.0.0.1", port)
    client.loop_start()
    time.sleep(0.5)
    begin, stamps = time.monotonic(), []
    for number in range(count):
        time.sleep(max(0.0, begin + number / RATE_HZ - time.monotonic()))
        chime, seq = number % CHIMES, number // CHIMES
        up_s = FIRST_UP_S + time.monotonic() - begin
        payload = rig.pack(seq, 1, up_s, is_press(number), LOWEST_V + STEP_V * number)
        stamps.append(time.monotonic())
        client.publish(f"bellcrank/1/house-{chime}/hall/pack", payload, 1)
    time.sleep(1.0)
    client.disconnect()
    client.loop_stop()
    return stamps


def is_press(number: int) -> bool:
    """Every tenth pack of a chime; not all chimes at once."""
    return (number // CHIMES + number % CHIMES) % PRESS_EVERY == 0


def serve(mqtt: int, http_port: int, folder: Path) -> None:
    """`bellcrank run`, with a look at the clock where packs are collected, are acknowledged, and their events told."""
    from collections.abc import Sequence

    import adapters.mqtt
    import service.hub
    from service import bootstrap
    from service.model import Arrival, Event
    from service.settings import Settings

    stamps: list[tuple[bytes, float, float]] = []

    class Stamped(adapters.mqtt.Listener):
        _held: tuple[list[Arrival], float] = ([], 0.0)

        def collect(self, limit: int) -> list[Arrival]:
            arrivals = super().collect(limit)
            self._held = (arrivals, time.monotonic())
            return arrivals

        def kept(self) -> None:
            now = time.monotonic()
            super().kept()
            arrivals, collected = self._held
            stamps.extend((arrival.payload, collected, now) for arrival in arrivals)

    told: dict[int, float] = {}

    class StampedHub(service.hub.Hub):
        def tell(self, events: Sequence[Event]) -> None:
            now = time.monotonic()
            super().tell(events)
            told.update((number_of(e.data["mean_v"]), now) for e in events if e.kind == "supply")

    adapters.mqtt.Listener = Stamped  # type: ignore[misc]
    service.hub.Hub = StampedHub  # type: ignore[misc]
    settings = Settings(data=folder / "data", http_port=http_port, broker_url=f"mqtt://127.0.0.1:{mqtt}")
    bootstrap.run(settings)
    found = []
    for payload, collected, committed in stamps:
        number = number_of(next(r["v"] for r in json.loads(payload) if r["n"] == "rail.mean"))
        found.append((number, collected, committed, told[number]))
    (folder / "committed.json").write_text(json.dumps(found))


def listen(http_port: int, folder: Path) -> None:
    """Note when each event of the stream came, until the stream ends."""
    connection = http.client.HTTPConnection("127.0.0.1", http_port)
    connection.request("GET", "/api/v1/stream")
    answer = connection.getresponse()
    assert answer.status == 200, answer.status
    seen: list[tuple[str, dict[str, Any], float]] = []
    kind = ""
    while line := answer.readline():
        now = time.monotonic()
        if line.startswith(b"event: "):
            kind = line[7:].strip().decode()
        elif line.startswith(b"data: "):
            seen.append((kind, json.loads(line[6:]), now))
        elif line.startswith(b":"):
            print("listening", flush=True)
    (folder / "seen.json").write_text(json.dumps(seen))


def measure() -> dict[str, list[float]]:
    """Seconds from publishing to each station, over all packs that count."""
    count, uncounted = round(RATE_HZ * (WARM_UP_S + LASTING_S)), round(RATE_HZ * WARM_UP_S)
    with tempfile.TemporaryDirectory() as name, rig.mosquitto() as mqtt:
        folder, http_port = Path(name), rig.free_port()
        service = _in_process("serve", mqtt, http_port, name)
        rig.wait_for(http_port)
        listener = _in_process("listen", http_port, name)
        assert listener.stdout is not None
        if listener.stdout.readline() != b"listening\n":
            sys.exit("The stream did not begin.")
        stamps = publish(mqtt, count)
        service.terminate()
        service.wait()
        listener.wait(10)
        if service.returncode != 0:
            sys.exit((folder / "serve.log").read_text())
        committed = {number: times for number, *times in json.loads((folder / "committed.json").read_text())}
        seen = json.loads((folder / "seen.json").read_text())
    if len(committed) != count:
        sys.exit(f"{count} packs were sent, {len(committed)} committed.")

    supply = {number_of(data["mean_v"]): now for kind, data, now in seen if kind == "supply"}
    presses: dict[str, list[float]] = defaultdict(list)
    for kind, data, now in seen:
        if kind == "press":
            presses[data["site"]].append(now)
    pressed = [number for number in range(count) if is_press(number)]
    expected = Counter(f"house-{number % CHIMES}" for number in pressed)
    if len(supply) != count or {site: len(times) for site, times in presses.items()} != expected:
        sys.exit(
            f"{count} packs, {len(pressed)} with a press; told {len(supply)} and {sum(map(len, presses.values()))}."
        )
    told = {number: presses[f"house-{number % CHIMES}"].pop(0) for number in pressed}  # a chime's presses come in order
    counted = range(uncounted, count)
    return {
        "received": [committed[n][0] - stamps[n] for n in counted],
        "committed": [committed[n][1] - stamps[n] for n in counted],
        "understood": [committed[n][2] - stamps[n] for n in counted],
        "supply on the stream": [supply[n] - stamps[n] for n in counted],
        "press on the stream": [told[n] - stamps[n] for n in counted if n in told],
    }


def _in_process(part: str, *words: object) -> "subprocess.Popen[bytes]":
    command = [sys.executable, __file__, part, *map(str, words)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=(Path(str(words[-1])) / f"{part}.log").open("wb"))


def flush_s(folder: Path, rounds: int = 200) -> list[float]:
    """What the disk itself takes to make one page safe."""
    times = []
    with (folder / "page").open("wb", buffering=0) as file:
        for _ in range(rounds):
            file.write(bytes(4096))
            begin = time.monotonic()
            os.fsync(file.fileno())
            times.append(time.monotonic() - begin)
    return times


def main() -> None:
    part, *words = sys.argv[1:] or ["measure"]
    if part == "serve":
        serve(int(words[0]), int(words[1]), Path(words[2]))
    elif part == "listen":
        listen(int(words[0]), Path(words[1]))
    else:
        targets = {"committed": " (targets 3 and 15 ms)"}
        with tempfile.TemporaryDirectory() as name:
            p50, p99 = rig.percentiles(flush_s(Path(name)))
        print(f"one fsync of this disk: p50 {p50 * 1e3:.2f} ms, p99 {p99 * 1e3:.2f} ms")
        for station, seconds in measure().items():
            p50, p99 = rig.percentiles(seconds)
            worst = math.ceil(max(seconds) * 1e3)
            print(
                f"publish to {station}: p50 {p50 * 1e3:.2f} ms, p99 {p99 * 1e3:.2f} ms, worst {worst} ms"
                f"{targets.get(station, '')}; {len(seconds)} of them"
            )


if __name__ == "__main__":
    main()
