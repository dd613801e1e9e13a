"""How long Chromium takes to draw ten years of a house's supply once its data are there, and each step of a zoom down to one cycle.
`drawn.py [TIMES]` (10). Needs what deploy/test installs.

The house is that of years.py. Prints, p50 and p95 of so many loads: from the last byte of the page to its first paint, and to the frame
after everything has been laid out; for a zoom by its links, from the click to that frame, the server's part included; and for one by hand,
from the end of the stroke until the stretch is shown from what is there, and until it is shown from readings of its own.
"""

import sys
import tempfile
import time
from pathlib import Path

from benchmarks import years
from playwright.sync_api import Page, sync_playwright

QUIET = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
DRAWN = """() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => {
    const page = performance.getEntriesByType('navigation')[0];
    const paint = performance.getEntriesByType('paint').find(one => one.name === 'first-contentful-paint');
    done([(paint ? paint.startTime : performance.now()) - page.responseEnd, performance.now() - page.responseEnd]);
})))"""
SETTLED = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))"
ZOOM = ("a year", "a month", "a week", "a day")


def told(name: str, taken: list[float]) -> None:
    taken.sort()
    print(
        f"{name:34} p50 {taken[len(taken) // 2]:6.0f} ms, p95 {taken[int(0.95 * len(taken)) - 1]:6.0f} ms", flush=True
    )


def zoomed(page: Page, text: str) -> float:
    before = page.locator(".when").first.inner_text()
    begun_s = time.perf_counter()
    page.click(f"a:text-is('{text}')")
    _renewed(page, before)
    return 1000.0 * (time.perf_counter() - begun_s)


def to_one_cycle(page: Page) -> float:
    """A survey of the stretch is opened."""
    way = page.locator("a[href*=burst]").first
    way.wait_for()
    begun_s = time.perf_counter()
    way.evaluate("one => one.click()")  # it stands far down: a driven click would scroll there first
    page.locator("#cycles svg").first.wait_for()
    page.evaluate(SETTLED)
    return 1000.0 * (time.perf_counter() - begun_s)


def by_hand(page: Page) -> tuple[float, float]:
    """A tenth of the chart drawn out: until it is shown coarse, and until the finer sheet stands."""
    plot = page.locator(".u-over").first.bounding_box()
    assert plot is not None
    before, height = page.locator(".when").first.inner_text(), plot["y"] + plot["height"] / 2
    page.mouse.move(plot["x"] + 0.8 * plot["width"], height)
    page.mouse.down()
    page.mouse.move(plot["x"] + 0.9 * plot["width"], height, steps=3)
    begun_s = time.perf_counter()
    page.mouse.up()
    page.evaluate(SETTLED)
    coarse_s = time.perf_counter() - begun_s
    _renewed(page, before)
    return 1000.0 * coarse_s, 1000.0 * (time.perf_counter() - begun_s)


def _renewed(page: Page, before: str) -> None:
    page.wait_for_function("before => document.querySelector('.when').innerText !== before", arg=before, polling="raf")
    page.evaluate(SETTLED)


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    now_s = time.time()
    with (
        tempfile.TemporaryDirectory() as folder,
        years.served(Path(folder), now_s, 0.2) as url,
        sync_playwright() as browsers,
    ):
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
                    page.wait_for_timeout(400)  # live.js waits between two sheets that follow each other at once
            for text, taken in steps.items():
                told(f"zoom to {text}, {name}: click to drawn", taken)
            coarse, fine = [], []
            for _ in range(times):
                page.goto(whole)
                page.evaluate(SETTLED)
                for _ in range(3):
                    shown = by_hand(page)
                    coarse.append(shown[0])
                    fine.append(shown[1])
                    page.wait_for_timeout(400)
            told(f"drawn out by hand, {name}: shown", coarse)
            told(f"drawn out by hand, {name}: in full", fine)
            cycles = []
            for _ in range(times):
                page.goto(whole)
                cycles.append(to_one_cycle(page))
            told(f"a survey's cycles, {name}: click to drawn", cycles)
            page.close()
        browser.close()


if __name__ == "__main__":
    main()
