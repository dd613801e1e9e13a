"""Runs the endurance rig once and prints its table. Started by deploy/endure."""

import argparse
import asyncio
import json
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

from deploy.endurance import disk, plan, table
from deploy.endurance.run import Run
from deploy.endurance.scoring import Score


def main() -> int:
    """0: nothing lost, doubled, invented or uncovered; else 1."""
    parser = argparse.ArgumentParser(prog="deploy/endure", description=__doc__)
    parser.add_argument("--broker", choices=("embedded", "mosquitto"), default="embedded")
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--chimes", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--brief", action="store_true", help="a few of each kind in some seconds, as in the tests")
    parser.add_argument(
        "--keep", type=Path, help="a new folder for the record and what the service said, which is left"
    )
    parser.add_argument("--json", action="store_true", help="the figures as JSON")
    parser.add_argument("--apart", action="store_true", help=argparse.SUPPRESS)  # in a mount namespace already
    given = parser.parse_args()
    words = [] if given.apart else disk.namespace()
    if words:
        again = [*words, sys.executable, "-P", "-m", "deploy.endurance", *sys.argv[1:], "--apart"]
        os.execvp(again[0], again)
    return _run(given)


def _run(given: argparse.Namespace) -> int:
    pace = plan.brief() if given.brief else plan.long(given.minutes)
    if given.keep is not None:
        given.keep.mkdir(parents=True)
    folder = given.keep or Path(tempfile.mkdtemp(prefix="endure-"))
    began = time.monotonic()
    run = Run(given.broker, pace, given.chimes, given.seed, folder)
    found = asyncio.run(run.run())
    numbers = table.figures(found, run.done)
    remarks = [] if run.clock_steps else ["The clock was not stepped: Debian's package faketime is not installed."]
    if not run.disk_mounted:
        remarks.append("The disk was not filled but forbidden (RLIMIT_FSIZE): no file system may be mounted here.")
    if found.good and not found.misdated and given.keep is None:
        shutil.rmtree(folder, ignore_errors=True)
    else:
        details = _details(found)
        (folder / "details.txt").write_text(details)
        remarks += [*details.splitlines(), f"Which ones, and what the service said: {folder}"]
    if given.json:
        print(json.dumps(numbers))
        print("\n".join(remarks), file=sys.stderr)
    else:
        title = f"{given.broker} broker, {given.chimes} chimes, {pace.seconds / 60.0:.1f} min, seed {given.seed}"
        print(table.text(title, numbers, time.monotonic() - began, remarks))
    return 0 if found.good else 1


def _details(found: Score) -> str:
    lines: list[str] = []
    for what, presses in (("lost", found.lost), ("doubled", found.doubled), ("uncovered", found.uncovered)):
        for press in presses:
            packs = "; ".join(
                f"boot {p.boot} seq {p.seq} made {p.made_s:.3f} {p.fate.value}{', flown' if p.flown else ''}"
                for p in press.packs
            )
            lines.append(f"{what}: {press.chime} {press.door} {press.start_s:.3f} {press.shape.marks} [{packs}]")
    lines += [f"invented: {entry}" for entry in found.invented]
    lines += [
        f"misdated by {by:+.3f} s: {press.chime} {press.start_s:.3f} {entry}" for press, entry, by in found.misdated
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
