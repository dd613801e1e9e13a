"""From a press on the simulated chime to its stroke on an open page in Chromium, without reload. `page.py [PRESSES]`."""

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks import rig
from playwright.sync_api import sync_playwright

QUIET = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
WATCH = """() => { window.changed = 0; new MutationObserver(() => { window.changed ||= Date.now(); })
    .observe(document.body, {childList: true, subtree: true, characterData: true, attributes: true}); }"""


def main() -> None:
    from adapters.simulated import house

    presses = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    with tempfile.TemporaryDirectory() as folder:
        data, http = Path(folder) / "data", rig.free_port()
        options = ["--demo", "--data", str(data), "--http", str(http), "--mqtt", str(rig.free_port())]
        service = subprocess.Popen([sys.executable, "-P", "-m", "service", "run", *options], stdout=subprocess.DEVNULL)
        rig.wait_for(http, 90)
        time.sleep(3)
        taken: list[float] = []
        with sync_playwright() as browsers:
            browser = browsers.chromium.launch(executable_path="/usr/bin/chromium", args=QUIET)
            page = browser.new_page(viewport={"width": 390, "height": 844})
            page.goto(f"http://localhost:{http}/")
            page.wait_for_timeout(1500)
            page.evaluate(WATCH)
            for _ in range(presses):
                page.evaluate("() => { window.changed = 0; }")
                pressed = time.time()
                house.press(data, "front", 0.4)
                page.wait_for_function("() => window.changed > 0", polling=10, timeout=10_000)
                taken.append(page.evaluate("() => window.changed") / 1000 - pressed)
                page.wait_for_timeout(4500)  # the chime has sounded and all of the press has come
            browser.close()
        service.terminate()
        service.wait()
    taken.sort()
    print(
        f"press to page, {presses} presses: p50 {statistics.median(taken) * 1000:.0f} ms, "
        f"p95 {taken[int(0.95 * len(taken))] * 1000:.0f} ms, longest {taken[-1] * 1000:.0f} ms"
    )


if __name__ == "__main__":
    main()
