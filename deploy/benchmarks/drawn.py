"""How long Chromium takes to draw ten years of a house's supply once its data are there, and each step of a zoom down to one cycle.
`drawn.py [TIMES]` (10). Needs what deploy/test installs.

The house is that of years.py. Prints, p50 and p95 of so many loads: from the last byte of the page to its first paint, and to the frame
after everything has been laid out; and for the zoom, from the click to that frame, the server's part included.
"""

import socket
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from benchmarks import years
from playwright.sync_api import Page, sync_playwright

from adapters.sql.work import SqlStore
from service import bootstrap
from service.actions import Actions
from service.health import Health
from service.hub import Hub
from service.processes import settle
from service.settings import Settings

QUIET = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
DRAWN = """() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => {
    const page = performance.getEntriesByType('navigation')[0];
    const paint = performance.getEntriesByType('paint').find(one => one.name === 'first-contentful-paint');
    done([(paint ? paint.startTime : performance.now()) - page.responseEnd, performance.now() - page.responseEnd]);
})))"""
SETTLED = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))"
ZOOM = ("a year", "a month", "a week", "a day")


@contextmanager
def served(folder: Path, now_s: float) -> Iterator[str]:
    path = folder / "record.sqlite"
    years.fill(path, now_s, 0.2)
    store = SqlStore(f"sqlite:///{path}", "Europe/London")
    health, hub = Health("0", now_s, "127.0.0.1:7433"), Hub()
    keeper = years.Nobody(store)
    app = bootstrap.build_app(
        store.reader(), keeper, Actions(keeper), health, hub, Settings(data=folder), time.time  # type: ignore[arg-type]
    )  # fmt: skip
    settle()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join()
    store.close()


def told(name: str, taken: list[float]) -> None:
    taken.sort()
    print(
        f"{name:34} p50 {taken[len(taken) // 2]:6.0f} ms, p95 {taken[int(0.95 * len(taken)) - 1]:6.0f} ms", flush=True
    )


def zoomed(page: Page, text: str) -> float:
    begun_s = time.perf_counter()
    with page.expect_navigation(wait_until="domcontentloaded"):
        page.click(f"a:text-is('{text}')")
    page.evaluate(SETTLED)
    return 1000.0 * (time.perf_counter() - begun_s)


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    now_s = time.time()
    with tempfile.TemporaryDirectory() as folder, served(Path(folder), now_s) as url, sync_playwright() as browsers:
        browser = browsers.chromium.launch(executable_path="/usr/bin/chromium", args=QUIET)
        last = time.strftime("%Y-%m-%d", time.gmtime(now_s))
        first = time.strftime("%Y-%m-%d", time.gmtime(now_s - 3650 * years.DAY_S))
        whole = f"{url}/house/{years.SITE}/chime/{years.CHIME}/supply?first={first}&last={last}"
        for name, width, height in (("phone", 390, 844), ("desk", 1440, 900)):
            page = browser.new_page(viewport={"width": width, "height": height})
            paints, frames = [], []
            page.goto(whole)
            for _ in range(times):
                page.goto(whole)
                paint, frame = page.evaluate(DRAWN)
                paints.append(paint)
                frames.append(frame)
            told(f"ten years, {name}: data to paint", paints)
            told(f"ten years, {name}: data to all drawn", frames)
            steps: dict[str, list[float]] = {text: [] for text in ZOOM}
            for _ in range(times):
                page.goto(whole)
                for text in ZOOM:
                    steps[text].append(zoomed(page, text))
            for text, taken in steps.items():
                told(f"zoom to {text}, {name}: click to drawn", taken)
            page.close()
        browser.close()


if __name__ == "__main__":
    main()
