"""Whether events reach a webhook whatever is killed or fails, what a receiver that is down costs, and how long a press takes.

`outbox.py survive [EVENTS] [KILLS]`: a receiver fails a third of the time, in four ways, while the service is SIGKILLed again and
again. The steps between retries are 1/5000 of the published ones, since a letter that fails holds up the others; nothing else differs.
`outbox.py down [EVENTS]`: memory and delay with one receiver that is not there and one that never answers.
`outbox.py latency`: from the publisher of a press to a webhook, to the broker's `event` topic and to a browser that listens.
Prints one line each; exit code 1 where an event is lost, out of order, or twice in the receiver's books.
"""

import contextlib
import http.client
import http.server
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

from benchmarks import rig
from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

SHORTER = 5000.0
APART_S = 100.0
"""In the chime's own time: presses that lie closer are one visit."""

WITHIN_S = 900.0
RATE_HZ, LASTING_S, CHIMES = 20.0, 20.0, 20
FAILURES = ("refuse", "hang up", "break off", "take and hang up")


class Receiver:
    """A webhook's receiver with books: what it has taken, by idempotency key, in order."""

    def __init__(self, failing: float = 0.0, seed: int = 1) -> None:
        self.books: dict[str, tuple[dict[str, Any], float]] = {}
        self.came = self.again = self.failed = 0
        self._failing, self._draw = failing, random.Random(seed)
        receiver = self

        class Handler(http.server.BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                length = int(self.headers["content-length"])
                body = self.rfile.read(length)
                if len(body) < length:  # the sender was killed meanwhile: nothing has come
                    self.close_connection = True
                    return
                self.close_connection = not receiver.take(self, self.headers["webhook-id"], json.loads(body))

            def log_message(self, *_: Any) -> None:
                pass

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._server.handle_error = lambda *_: None  # type: ignore[method-assign] - who is killed hangs up
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/bell"
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def take(self, request: http.server.BaseHTTPRequestHandler, key: str, event: dict[str, Any]) -> bool:
        """Whether the connection may go on."""
        now = time.monotonic()
        self.came += 1
        failure = self._draw.choice(FAILURES) if self._draw.random() < self._failing else None
        self.failed += failure is not None
        if failure in (None, "take and hang up"):
            self.again += key in self.books
            self.books.setdefault(key, (event, now))
        if failure == "break off":
            request.wfile.write(b"HTTP/1.1 20")
        elif failure in ("refuse", None):
            request.send_response(503 if failure else 204)
            request.send_header("Content-Length", "0") if failure else None
            request.end_headers()
        return failure in ("refuse", None)

    def close(self) -> None:
        self._server.shutdown()


class Service:
    """`bellcrank run` in a process of its own; `shorter`: by how much the steps between retries are."""

    def __init__(self, folder: Path, mqtt: int, shorter: float = 1.0, events: bool = True) -> None:
        self._words = [folder, mqtt, rig.free_port(), shorter, int(events)]
        self.http, self.folder, self._power_up = int(self._words[2]), folder, time.monotonic() - 60.0
        rig.subscribe_ahead(mqtt, "bellcrank")  # else a pack that comes before the service listens is nobody's
        self.start()

    def start(self) -> None:
        log = (self.folder / "service.log").open("ab")
        command = [sys.executable, __file__, "serve", *map(str, self._words)]
        environment = os.environ | {"MALLOC_ARENA_MAX": "2"}  # as deploy/run has it
        self.process = subprocess.Popen(command, stdout=log, stderr=log, env=environment)
        log.close()
        rig.wait_for(self.http, 60.0)

    def up_s(self) -> float:
        """The clock of the chimes."""
        return time.monotonic() - self._power_up

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait()

    def ask(self, method: str, path: str, body: Any = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        url = f"http://127.0.0.1:{self.http}/api/v1{path}"
        asked = urllib.request.Request(url, data, {"content-type": "application/json"}, method=method)
        with urllib.request.urlopen(asked, timeout=30) as answer:
            return json.loads(answer.read() or b"null")

    def resident_mb(self) -> float:
        for line in Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1]) * 1024 / 1e6
        raise LookupError(self.process.pid)

    def claim(self, client: Client, *sites: str) -> None:
        """Let these chimes be heard of, without a press, and claim them."""
        for site in sites:
            payload = rig.pack(0, 1, self.up_s(), press=False)
            client.publish(f"bellcrank/1/{site}/hall/pack", payload, 1).wait_for_publish(10)
        for site in sites:
            wait_until(lambda site=site: any(one["site"] == site for one in self.ask("GET", "/chimes")["chimes"]))
            self.ask("POST", f"/sites/{site}/chimes/hall/claim", {})


def serve(folder: Path, mqtt: int, http_port: int, shorter: float, events: bool) -> None:
    import service.retries

    if shorter > 1.0:
        service.retries.OFFSETS_S = tuple(one / shorter for one in service.retries.OFFSETS_S)
    from service import bootstrap
    from service.settings import Settings

    bootstrap.run(
        Settings(
            data=folder / "data",
            http_port=http_port,
            broker_url=f"mqtt://127.0.0.1:{mqtt}",
            outlet_networks="127.0.0.0/8",
            mqtt_events=events,
        )
    )


def wait_until(fulfilled: Callable[[], bool], within_s: float = 60.0) -> None:
    end = time.monotonic() + within_s
    while not fulfilled():
        if time.monotonic() > end:
            sys.exit(f"It was waited for {within_s:g} s in vain.")
        time.sleep(0.02)


@contextlib.contextmanager
def sender(port: int, name: str = "sender") -> Iterator[Client]:
    client = Client(CallbackAPIVersion.VERSION2, name, protocol=MQTTv311, clean_session=False)
    client.max_inflight_messages_set(100)
    client.connect("127.0.0.1", port)
    client.loop_start()
    yield client
    client.disconnect()
    client.loop_stop()


def hook(name: str, url: str, **more: Any) -> dict[str, Any]:
    return {"name": name, "way": "webhook", "url": url, "kinds": ["press"], **more}


def survive(count: int, kills: int) -> bool:
    """5,000 events, fifty kills: lost, out of order, twice in the books."""
    with tempfile.TemporaryDirectory() as name, rig.mosquitto() as mqtt, sender(mqtt) as client:
        receiver, service = Receiver(1 / 3), Service(Path(name), mqtt, SHORTER, events=False)
        service.claim(client, "tern-cottage")
        number = service.ask("POST", "/outlets", hook("failing", receiver.url))["id"]
        begin = time.monotonic()

        def publish() -> None:
            for seq in range(1, count + 1):
                client.publish(rig.TOPIC, rig.pack(seq, 1, 60.0 + APART_S * seq, press=True), 1)
                time.sleep(0.002)

        threading.Thread(target=publish, daemon=True).start()
        for kill in range(1, kills + 1):
            wait_until(lambda kill=kill: len(receiver.books) >= kill * count // (kills + 1), WITHIN_S)
            time.sleep(random.Random(kill).uniform(0.0, 0.05))
            service.kill()
            service.start()
        wait_until(lambda: len(receiver.books) >= count, WITHIN_S)
        wait_until(lambda: service.ask("GET", f"/outlets/{number}")["outbox"]["waiting"] == 0, WITHIN_S)
        took_s = time.monotonic() - begin
        dead = service.ask("GET", f"/outlets/{number}")["outbox"]["dead"]
        service.stop()
        receiver.close()
    told = [event["data"]["id"] for event, _ in receiver.books.values()]
    order = [int(key.split("-")[0]) for key in receiver.books]
    lost, twice = count - len(set(told)), len(told) - len(set(told))
    behind = sum(after < before for before, after in pairwise(order))
    print(
        f"{count} events, {kills} kills, a third failing, {took_s:.0f} s: {receiver.came} requests, {receiver.failed} failed, "
        f"{receiver.again} known by their key, lost {lost}, out of order {behind}, twice in the books {twice}, dead {dead}"
    )
    return not (lost or behind or twice or dead)


def down(count: int) -> bool:
    """Memory with nothing to send to, and with receivers that are away; what arrives at the one that is there."""
    found = {}
    for case in ("no way out", "one away, one deaf, one there"):
        with tempfile.TemporaryDirectory() as name, rig.mosquitto() as mqtt, sender(mqtt) as client:
            service, receiver = Service(Path(name), mqtt, events=False), Receiver()
            deaf = socket.create_server(("127.0.0.1", 0))  # connects, and never answers
            service.claim(client, "tern-cottage")
            if case != "no way out":
                service.ask("POST", "/outlets", hook("away", f"http://127.0.0.1:{rig.free_port()}/"))
                service.ask("POST", "/outlets", hook("deaf", f"http://127.0.0.1:{deaf.getsockname()[1]}/"))
                service.ask("POST", "/outlets", hook("there", receiver.url))
            at_first = service.resident_mb()
            for seq in range(1, count + 1):
                client.publish(rig.TOPIC, rig.pack(seq, 1, 60.0 + APART_S * seq, press=True), 1)
                if seq % 50 == 0:
                    time.sleep(0.05)
            wait_until(lambda name=name: presses_in(Path(name)) >= count, WITHIN_S)
            if case != "no way out":
                wait_until(lambda receiver=receiver: len(receiver.books) >= count, WITHIN_S)
                outlets = {one["outlet"]["name"]: one["outbox"] for one in service.ask("GET", "/outlets")["outlets"]}
            found[case] = (at_first, service.resident_mb())
            service.stop()
            receiver.close()
            deaf.close()
    for case, (before, after) in found.items():
        print(f"resident, {count} presses, {case}: {before:.1f} MB at first, {after:.1f} MB afterwards")
    waiting = {name: outbox["waiting"] for name, outbox in outlets.items()}
    print(f"waiting: {waiting}; the one that is there got {len(receiver.books)}")
    return len(receiver.books) == count


def presses_in(folder: Path) -> int:
    import sqlite3

    with contextlib.closing(sqlite3.connect(folder / "data" / "record.sqlite")) as record:
        return int(record.execute("SELECT count(*) FROM event WHERE kind = 'press'").fetchone()[0])


def latency() -> bool:
    """Twenty presses a second from twenty chimes, each to a webhook, the broker and a stream."""
    count = round(RATE_HZ * LASTING_S)
    sites = [f"house-{number}" for number in range(CHIMES)]
    with tempfile.TemporaryDirectory() as name, rig.mosquitto() as mqtt, sender(mqtt) as client:
        service, receiver = Service(Path(name), mqtt), Receiver()
        service.claim(client, *sites)
        service.ask("POST", "/outlets", hook("quick", receiver.url))
        service.ask("POST", "/outlets", hook("away", f"http://127.0.0.1:{rig.free_port()}/"))
        told: dict[str, dict[str, float]] = {"webhook": {}, "broker": {}, "stream": {}}
        with sender(mqtt, "listener") as listener:
            listener.on_message = lambda _, __, message: told["broker"].setdefault(
                str(json.loads(message.payload)["data"]["id"]), time.monotonic()
            )
            listener.subscribe("bellcrank/1/+/+/event", 1)
            threading.Thread(target=listen, args=(service.http, told["stream"]), daemon=True).start()
            time.sleep(1.0)
            begin, stamps = time.monotonic(), {}
            for number in range(count):
                time.sleep(max(0.0, begin + number / RATE_HZ - time.monotonic()))
                site, seq = sites[number % CHIMES], 1 + number // CHIMES
                payload = rig.pack(seq, 1, service.up_s(), press=True)
                stamps[site, seq] = time.monotonic()
                client.publish(f"bellcrank/1/{site}/hall/pack", payload, 1)
            wait_until(lambda: len(receiver.books) >= count and len(told["broker"]) >= count, 60.0)
            wait_until(lambda: len(told["stream"]) >= count)
        service.stop()
        receiver.close()
    places: dict[str, list[str]] = {site: [] for site in sites}
    for event, at in receiver.books.values():
        data = event["data"]
        told["webhook"][str(data["id"])] = at
        places[data["site"]].append(str(data["id"]))
    sent = {
        key: stamps[site, seq]
        for site, keys in places.items()
        for seq, key in enumerate(sorted(keys, key=int), start=1)
    }
    for way, times in told.items():
        seconds = sorted(times[key] - sent[key] for key in sent)
        p50, p95, worst = seconds[len(seconds) // 2], seconds[int(len(seconds) * 0.95)], seconds[-1]
        print(
            f"press to {way}, {len(seconds)} at {RATE_HZ:g} a second: p50 {p50 * 1e3:.1f} ms, p95 {p95 * 1e3:.1f} ms "
            f"(target 100), worst {worst * 1e3:.0f} ms"
        )
    return True


def listen(http_port: int, told: dict[str, float]) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", http_port)
    connection.request("GET", "/api/v1/stream")
    answer, kind = connection.getresponse(), ""
    with contextlib.suppress(OSError, http.client.HTTPException):
        while line := answer.readline():
            if line.startswith(b"event: "):
                kind = line[7:].strip().decode()
            elif line.startswith(b"data: ") and kind == "press":
                told.setdefault(str(json.loads(line[6:])["id"]), time.monotonic())


def main() -> None:
    part, *words = sys.argv[1:] or ["all"]
    if part == "serve":
        folder, mqtt, http_port, shorter, events = words
        serve(Path(folder), int(mqtt), int(http_port), float(shorter), events == "1")
        return
    well = True
    if part in ("survive", "all"):
        well &= survive(int(words[0]) if words else 5000, int(words[1]) if len(words) > 1 else 50)
    if part in ("down", "all"):
        well &= down(int(words[0]) if words and part == "down" else 20_000)
    if part in ("latency", "all"):
        well &= latency()
    sys.exit(0 if well else 1)


if __name__ == "__main__":
    main()
