"""What examining a survey costs, once everything is imported. `examine.py [INSTALLATIONS]` draws 40 by default.

Invented installations, each surveyed twice, as deploy/calibrate draws them with another seed than limits were set by. Each recording
is examined twice; the second time counts. Prints milliseconds per survey, at the median and at the 95th percentile, of the three
parts told apart: reading the lines and keeping and understanding the packs, decoding the kept testimony, and judging it.
"""

import json
import statistics
import sys
import tempfile
import time
from pathlib import Path

from adapters.sql.work import SqlStore
from deploy.calibration.drawing import draw_cases
from service import examination, recordings
from service.examine import take_in
from service.findings.judge import judge
from service.findings.testimony import Evidence
from service.findings.verdict import Verdict
from service.intake import Understander
from service.supply.fitout import FitOut

SEED = 20_261_125


def examined(recording: str, sheet: str) -> tuple[float, float, float, int]:
    """Seconds of reading, decoding and judging, and how many surveys there were."""
    judging_s, surveys = 0.0, 0

    def timed(now: Evidence, commissioning: Evidence | None, fitout: FitOut) -> Verdict:
        nonlocal judging_s, surveys
        start = time.perf_counter()
        verdict = judge(now, commissioning, fitout)
        judging_s += time.perf_counter() - start
        surveys += len(now.surveys) + len(commissioning.surveys if commissioning else ())
        return verdict

    store = SqlStore("sqlite://")
    begin = time.perf_counter()
    take_in(store, recordings.read(recording.splitlines(keepends=True)), Understander(store))
    taken_in = time.perf_counter()
    reader = store.reader()
    (chime,) = reader.chimes()
    with store.work() as work:
        work.keep_fitout(chime.site, chime.chime, json.loads(sheet), chime.last_heard_s, "bench")
    asked = time.perf_counter()
    examination.examine(reader, timed, chime.site, chime.chime, chime.last_heard_s)
    whole = time.perf_counter() - asked
    store.close()
    return taken_in - begin, whole - judging_s, judging_s, surveys


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        draw_cases(folder, "retrofit", count, SEED)
        cases = [
            (path.read_text(), path.with_name(path.name.replace(".jsonl", ".fitout.json")).read_text())
            for path in sorted(folder.glob("*.jsonl"))
        ]
    told: list[tuple[float, ...]] = []
    for recording, sheet in cases:
        examined(recording, sheet)
        *parts, surveys = examined(recording, sheet)
        told.append(tuple(1e3 * part / max(surveys, 1) for part in (*parts, sum(parts))))
    for column, part in enumerate(("read, keep, understand", "decode", "judge", "all of it")):
        taken = sorted(one[column] for one in told)
        print(
            f"{part}: p50 {statistics.median(taken):.1f} ms, p95 {taken[int(0.95 * (len(taken) - 1))]:.1f} ms "
            f"a survey, {len(taken)} recordings"
        )


if __name__ == "__main__":
    main()
