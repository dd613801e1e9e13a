"""What the rig does to the house it really does: the way stalls and cuts, the disk is full, the clock is wrong, the plan is a seed's.

`MQTT 3.1.1` below is the OASIS standard of 2014; its packets were put together by hand from chapters 2 and 3.
"""

import asyncio
import contextlib
import errno
import os
import subprocess
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path
from random import Random

import pytest

from deploy.endurance import plan
from deploy.endurance.clock import Clock
from deploy.endurance.disk import Disk
from deploy.endurance.ways import Way
from deploy.endurance.witness import Witness

CLOCKS = "import time; print(time.time(), time.monotonic(), time.clock_gettime(time.CLOCK_BOOTTIME)); time.sleep(0.001)"
WAIT_S = 5.0

WRITER = """
import sys
for line in sys.stdin:
    try:
        with open(sys.argv[1], "ab") as file:
            file.write(bytes(9000))
    except OSError as error:
        print(error.errno, flush=True)
    else:
        print(0, flush=True)
"""


def clocks(clock: Clock) -> list[float]:
    path = {"PYTHONPATH": os.pathsep.join(clock.search_path())}
    command = [sys.executable, "-c", CLOCKS]
    said = subprocess.run(
        command, capture_output=True, text=True, check=True, env={**os.environ, **clock.environment(), **path}
    )
    return [float(word) for word in said.stdout.split()]


def test_a_step_of_the_clock_leaves_the_monotonic_clocks_alone(tmp_path: Path) -> None:
    clock = Clock(tmp_path / "clock")
    if not clock.can_step:
        assert clock.environment() == {}
        return
    true = clocks(clock)
    for wrong_s in (3600.0, -3600.0, 0.0):
        clock.step(wrong_s)
        now = clocks(clock)
        passed_s = now[1] - true[1]
        assert 0.0 < passed_s < 60.0
        assert now[0] - true[0] == pytest.approx(wrong_s + passed_s, abs=0.5)
        assert now[2] - true[2] == pytest.approx(passed_s, abs=0.5)


def test_a_full_disk_takes_nothing_and_an_emptied_one_does(tmp_path: Path) -> None:
    disk = Disk(tmp_path / "disk")
    try:
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(disk.folder / "x")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
        ) as writer:
            assert writer.stdin is not None
            assert writer.stdout is not None
            disk.writer(writer.pid)
            codes: list[int] = []
            changes: list[Callable[[], None]] = [lambda: None, disk.fill, disk.free]
            for change in changes:
                change()
                writer.stdin.write("write\n")
                codes.append(int(writer.stdout.readline()))
        assert codes in ([0, errno.ENOSPC, 0], [0, errno.EFBIG, 0])
    finally:
        disk.remove(tmp_path / "copy")
    assert (tmp_path / "copy" / "x").exists()


def with_way(talk: Callable[[Way, asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]) -> None:
    """A way to a server that sends everything back, and a connection over it."""

    async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionResetError):
            while octets := await reader.read(100):
                writer.write(octets)
        writer.close()

    async def run() -> None:
        async with await asyncio.start_server(echo, "127.0.0.1", 0) as server:
            way = Way(server.sockets[0].getsockname()[1], Random(1))
            await way.open()
            reader, writer = await asyncio.open_connection("127.0.0.1", way.port)
            await asyncio.wait_for(talk(way, reader, writer), WAIT_S)
            writer.close()
            await way.close()

    asyncio.run(run())


def test_a_stalled_way_keeps_what_was_sent_and_delivers_it_later() -> None:
    async def talk(way: Way, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"one")
        assert await reader.readexactly(3) == b"one"
        way.set("stalled")
        writer.write(b"two")
        waiting = asyncio.create_task(reader.readexactly(3))
        await asyncio.sleep(0.05)
        assert not waiting.done()
        way.set("open")
        assert await waiting == b"two"

    with_way(talk)


def test_a_refusing_way_resets_what_is_open_and_lets_nobody_in() -> None:
    async def talk(way: Way, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"one")
        assert await reader.readexactly(3) == b"one"
        way.set("refused")
        late, closing = await asyncio.open_connection("127.0.0.1", way.port)
        for read in (reader, late):
            with contextlib.suppress(ConnectionResetError):
                assert await read.read(1) == b""
        closing.close()

    with_way(talk)


def test_the_witness_counts_what_the_service_has_acknowledged_however_it_is_cut_up() -> None:
    def publish(packet_id: int, payload: bytes) -> bytes:
        rest = b"\x00\x01t" + packet_id.to_bytes(2, "big") + payload
        length = bytes([len(rest) & 0x7F | 0x80, len(rest) >> 7]) if len(rest) > 127 else bytes([len(rest)])
        return b"\x32" + length + rest  # PUBLISH, QoS 1 (MQTT 3.1.1, 3.3)

    witness = Witness()
    watch = witness.watch()
    for octet in publish(5, b"first") + publish(6, b"second" * 50) + publish(7, b"third"):
        watch(bytes([octet]), False)
    watch(b"\x40\x02\x00\x06\x40\x02", True)  # PUBACK 6 (3.4), and the beginning of another
    assert witness.taken == {b"second" * 50}
    watch(b"\x00\x05", True)
    assert witness.taken == {b"first", b"second" * 50}
    witness.watch()(b"\x40\x02\x00\x07", True)  # of another connection: not the same message
    assert len(witness.taken) == 2


def test_a_seed_plans_the_same_and_another_otherwise() -> None:
    pace = plan.long(30.0)
    assert plan.blows(1, pace) == plan.blows(1, pace) != plan.blows(2, pace)
    assert plan.timetable(Random(1), pace, 50.0) == plan.timetable(Random(1), pace, 50.0)


def test_half_an_hour_has_what_was_asked_for() -> None:
    """At least 100 kills of the service, 20 of the broker, a full disk, steps by an hour to both sides."""
    pace = plan.long(30.0)
    blows = plan.blows(1, pace)
    assert pace.seconds == 1800.0
    assert len(blows.service_kills) >= 100
    assert len(blows.broker_kills) >= 20
    assert len(blows.fills) >= 1
    assert {blow.value for blow in blows.steps} == {3600.0, -3600.0, 0.0}
    for kind in (blows.service_kills, blows.broker_kills, blows.fills, blows.steps, blows.cuts):
        assert [blow.at_s for blow in kind] == sorted(blow.at_s for blow in kind)
        assert all(0.0 < blow.at_s < pace.seconds for blow in kind)
    events = plan.timetable(Random(1), pace, 50.0)
    assert {event.what for event in events} >= {"press", "part", "window", "power_off", "way", "again", "rubbish"}
