"""Promise: one command starts everything, a press is on the page while it is open, and Ctrl-C leaves nothing behind."""

import json
import os
import subprocess
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browsing import CHROMIUM, QUIET
from tests.house.conftest import Running, command, free_port, start


def until(true: Callable[[], bool], within_s: float = 20.0) -> bool:
    end = time.monotonic() + within_s
    while not (reached := true()) and time.monotonic() < end:
        time.sleep(0.05)
    return reached


def newest_press(running: Running) -> dict[str, object]:
    answer = json.loads(running.get("/api/v1/sites/tern-cottage/presses?newest_first=true&limit=1"))
    found: dict[str, object] = answer["presses"][0]
    return found


def test_the_invented_house_has_a_past(demo: Running) -> None:
    visits = json.loads(demo.get("/api/v1/sites/tern-cottage/visits?limit=1000"))["visits"]
    assert len(visits) > 60
    blind = json.loads(demo.get("/api/v1/sites/tern-cottage/blind"))["blind"]
    assert len(blind) >= 2
    health = json.loads(demo.get("/health"))
    assert health["packs"]["quarantined"] == health["packs"]["unexpected"] == 0


def test_a_press_of_the_simulated_button_is_in_the_record(demo: Running) -> None:
    before = newest_press(demo)["id"]
    subprocess.run(command("press", "garden", "--for", "0.3", "--data", str(demo.data)), check=True, timeout=20)
    assert until(lambda: newest_press(demo)["id"] != before and newest_press(demo)["pulses"] is not None)
    assert newest_press(demo)["door"] == "garden"


def test_a_press_appears_on_the_open_page_without_reload(demo: Running) -> None:
    with sync_playwright() as browsers:
        browser = browsers.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        page = browser.new_page()
        trouble: list[str] = []
        page.on("pageerror", lambda error: trouble.append(str(error)))
        page.goto(demo.url)
        page.evaluate("window.notReloaded = true")
        before = page.locator("main").inner_text()
        page.wait_for_timeout(500)  # the stream is open
        subprocess.run(command("press", "front", "--for", "0.3", "--data", str(demo.data)), check=True, timeout=20)
        page.wait_for_function(
            "before => document.querySelector('main').innerText !== before", arg=before, timeout=10_000
        )
        assert page.evaluate("window.notReloaded")
        assert trouble == []
        browser.close()


def test_ctrl_c_stops_everything_and_a_second_start_goes_on_with_the_record(tmp_path: Path) -> None:
    http, mqtt = free_port(), free_port()
    first = start(tmp_path / "data", http, mqtt)
    children = Path(f"/proc/{first.process.pid}/task/{first.process.pid}/children").read_text().split()
    assert children  # the embedded broker
    assert "Nothing is left running" in first.interrupt()
    assert not [child for child in children if Path(f"/proc/{child}").exists()]
    second = start(tmp_path / "data", http, mqtt)
    assert second.interrupt()


def test_a_press_of_no_simulated_house_is_answered_in_one_sentence(tmp_path: Path) -> None:
    said = subprocess.run(
        command("press", "front", "--data", str(tmp_path)), capture_output=True, text=True, timeout=20
    )
    assert said.returncode == 2
    assert said.stderr.startswith("bellcrank: No simulated chime")
    assert said.stderr.count("\n") == 1


def test_what_cannot_be_used_is_told_in_one_sentence(demo: Running, tmp_path: Path) -> None:
    (tmp_path / "a-file").touch()
    free = str(free_port())
    for words, told in [
        (["--http", str(demo.http), "--data", str(tmp_path / "x"), "--mqtt", free], f"Port {demo.http}"),
        (["--mqtt", str(demo.mqtt), "--data", str(tmp_path / "x"), "--http", free], str(demo.mqtt)),
        (["--data", str(tmp_path / "a-file" / "below"), "--http", free], "cannot be written"),
        (["--data", str(demo.data), "--http", free], "already runs"),
        (["--broker", "somewhere:1883", "--data", str(tmp_path / "x"), "--http", free], "mqtt://host:port"),
    ]:
        said = subprocess.run(command("run", *words), capture_output=True, text=True, timeout=30, env=dict(os.environ))
        assert (said.returncode, told in said.stderr, said.stderr.count("\n")) == (2, True, 1), said.stderr


def test_without_a_broker_the_service_stays_up_and_says_so_and_comes_back(tmp_path: Path) -> None:
    mqtt = free_port()
    lonely = start(tmp_path / "lonely", free_port(), free_port(), "--broker", f"mqtt://127.0.0.1:{mqtt}")
    assert until(lambda: "does not answer" in lonely.get("/health"))
    helping = start(tmp_path / "helping", free_port(), mqtt)  # its embedded broker is the one that was missing
    assert until(lambda: '"status":"well"' in lonely.get("/health").replace(" ", ""), within_s=30.0)
    for running in (lonely, helping):
        running.interrupt()


def test_one_who_listens_again_is_told_what_came_meanwhile(demo: Running) -> None:
    # WHATWG HTML, "Server-sent events": the browser sends Last-Event-ID when it connects again
    subprocess.run(command("press", "front", "--for", "0.2", "--data", str(demo.data)), check=True, timeout=20)
    before = newest_press(demo)
    assert until(lambda: newest_press(demo) != before or newest_press(demo)["end"] is not None)
    asked = urllib.request.Request(f"{demo.url}/api/v1/stream", headers={"Last-Event-ID": "0"})
    with urllib.request.urlopen(asked, timeout=10) as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        lines: list[str] = []
        while not any(line.startswith("event: press") for line in lines):
            lines.append(stream.readline().decode())
    ids = [int(line.removeprefix("id: ")) for line in lines if line.startswith("id: ")]
    assert ids == sorted(set(ids))


def test_an_open_stream_does_not_hold_up_the_end(tmp_path: Path) -> None:
    running = start(tmp_path / "data", free_port(), free_port())
    with urllib.request.urlopen(f"{running.url}/api/v1/stream", timeout=10) as stream:
        assert stream.readline() == b": listening\n"
        said = running.interrupt()
    assert "Traceback" not in said
    assert said.rstrip().endswith("Nothing is left running.")
