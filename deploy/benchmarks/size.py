"""Memory of the demonstration, and how long it takes to start again. `size.py [MINUTES]` lets it run for 2 minutes.

Starts by deploy/run, as everybody does; its first start here invents thirty days, and is told beside. Memory is VmRSS of each
process, after the page first answers and at the end, with one look at the page every second meanwhile. Reads /proc: Linux only.
"""

import contextlib
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from benchmarks import rig

ROOT = Path(__file__).parents[2]
STARTS = 5
PREPARE = 'set -euo pipefail; root="$1"; source "$root/deploy/environment"; prepare "$root/.venv" "$root/deploy/requirements.lock"'


def answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:
            return bool(answer.status == 200)
    except OSError:
        return False


@contextlib.contextmanager
def running(data: Path, http_port: int) -> Iterator[tuple["subprocess.Popen[bytes]", float]]:
    """The demonstration, and the seconds from starting it until /health answered."""
    command = [str(ROOT / "deploy" / "run"), "--demo", "--data", str(data)]
    ports = ["--http", str(http_port), "--mqtt", str(rig.free_port())]
    begin = time.monotonic()
    with (data.parent / "log").open("ab") as log:
        process = subprocess.Popen([*command, *ports], stdout=log, stderr=log)
    try:
        while not answers(f"http://127.0.0.1:{http_port}/health"):
            if process.poll() is not None:
                sys.exit(f"It ended with exit code {process.returncode}:\n{(data.parent / 'log').read_text()}")
            time.sleep(0.01)
        yield process, time.monotonic() - begin
    finally:
        process.terminate()
        process.wait()


def resident_mb(pid: int) -> dict[str, float]:
    """Of the service and the processes it started: what it is -> MB (10^6 bytes)."""
    found = {"service": _resident_mb(pid)}
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):  # it may have ended meanwhile
            if int((folder / "stat").read_text().rpartition(")")[2].split()[1]) == pid:
                words = (folder / "cmdline").read_bytes().split(b"\0")
                what = "simulated chime" if b"simulate" in words else "broker"
                found[what] = found.get(what, 0.0) + _resident_mb(int(folder.name))
    return found


def _resident_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024 / 1e6
    raise LookupError(pid)


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 2.0
    if not (ROOT / ".venv" / "stamp").exists():
        sys.exit("deploy/bench makes the environment that deploy/run needs; start this part by it.")
    with tempfile.TemporaryDirectory() as name:
        data, http_port = Path(name) / "data", rig.free_port()
        with running(data, http_port) as (_, seconds):
            print(f"first start, environment ready, thirty days invented: {seconds:.1f} s")

        own = []
        for _ in range(STARTS):
            begin = time.monotonic()
            subprocess.run(["bash", "-c", PREPARE, "bash", ROOT], check=True)
            own.append(time.monotonic() - begin)
        starts = []
        for _ in range(STARTS):
            with running(data, http_port) as (_, seconds):
                starts.append(seconds)
        median, worst = sorted(starts)[STARTS // 2], max(starts)
        print(f"second start, exec to /health, median of {STARTS}: {median:.2f} s, worst {worst:.2f} s (target 3 s)")
        print(f"deploy/run's own share of that: {sorted(own)[STARTS // 2]:.2f} s")

        with running(data, http_port) as (process, _):
            time.sleep(2.0)  # the chime and the broker have come up as well
            _tell("after start", resident_mb(process.pid))
            end, failed = time.monotonic() + 60 * minutes, 0
            while time.monotonic() < end:
                failed += not answers(f"http://127.0.0.1:{http_port}/")
                time.sleep(1.0)
            _tell(f"after {minutes:g} min", resident_mb(process.pid))
            if failed:
                print(f"the page did not answer {failed} times")


def _tell(when: str, found: dict[str, float]) -> None:
    parts = ", ".join(f"{what} {size:.1f} MB" for what, size in found.items())
    print(f"resident {when}: {parts} (target of the service 120 MB)")


if __name__ == "__main__":
    main()
