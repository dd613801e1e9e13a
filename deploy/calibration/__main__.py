"""`draw` invents installations, `score` examines them and compares with the truth. Started by deploy/calibrate."""

import argparse
import json
from pathlib import Path

from deploy.calibration import drawing, packing, parts, scoring


def main() -> None:
    parser = argparse.ArgumentParser(prog="deploy/calibrate", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    draw = commands.add_parser("draw", help="write recordings, fit-out sheets and truths into a folder")
    draw.add_argument("folder", type=Path)
    draw.add_argument("--kind", choices=parts.KINDS, default="retrofit")
    draw.add_argument("--count", type=int, default=300)
    draw.add_argument("--seed", type=int, default=1)
    draw.add_argument("--level", choices=packing.LEVELS, default="bursts")
    draw.add_argument("--jobs", type=int, default=1)
    score = commands.add_parser("score", help="examine each and print the figures as JSON")
    score.add_argument("folder", type=Path)
    score.add_argument("--jobs", type=int, default=2)
    score.add_argument("--wrong", action="store_true", help="list what was answered wrongly")
    score.add_argument("--first", type=int, help="only so many")
    score.add_argument("--label", help="only installations with this label, such as healthy")
    score.add_argument(
        "--change", action="store_true", help="examine the first survey by itself too: changes between the surveys"
    )
    given = parser.parse_args()
    if given.command == "draw":
        drawing.draw_cases(given.folder, given.kind, given.count, given.seed, given.level, given.jobs)
    else:
        print(
            json.dumps(
                scoring.score(given.folder, given.jobs, given.wrong, given.first, given.label, given.change), indent=1
            )
        )


if __name__ == "__main__":
    main()
