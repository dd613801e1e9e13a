"""The command line: parse arguments, call bootstrap, turn errors made on purpose into one sentence."""

import argparse
import json
import logging
import os
import sys
from collections.abc import Sequence
from datetime import datetime
from math import inf
from pathlib import Path
from zoneinfo import ZoneInfo

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy: our matrices are small, and each thread keeps megabytes

from service import settings
from service.errors import BellcrankError, SettingError

CAUTIONS = (
    "The mains side of a bell transformer is for a licensed electrician and the local code. Isolate before touching wiring; a "
    "reservoir capacitor stays charged. A bell circuit is no alarm, no emergency call and no medical aid."
)


WRONG = 3
"""Exit code of `fitout` where something is wrong."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Exit code 0; 2 with a sentence on standard error for whatever the person who called can mend; 1 when a part died; 3 from
    `fitout` where something is wrong with what it checked."""
    options = _parser().parse_args(arguments)
    logging.basicConfig(
        level=logging.INFO if options.verbose else logging.WARNING,
        format="%(asctime)s %(levelname)s %(name)s: %(message)s",
    )
    try:
        return int(options.call(options) or 0)
    except BellcrankError as error:
        print(f"bellcrank: {error}", file=sys.stderr)
        return 2
    except RuntimeError:
        logging.getLogger(__name__).exception("Bellcrank ends")
        return 1
    except KeyboardInterrupt:
        return 130


def _run(options: argparse.Namespace) -> None:
    from service import bootstrap

    demo = bootstrap.Demo(options.fault, options.severity) if options.demo else None
    bootstrap.run(_settings(options), demo)


def _simulate(options: argparse.Namespace) -> None:
    from service import commands

    commands.simulate(_settings(options), options.fault, options.severity, options.cbor, options.until_input_ends)


def _invent(options: argparse.Namespace) -> None:
    from service import bootstrap

    bootstrap.invent(_settings(options), options.fault, options.severity)


def _press(options: argparse.Namespace) -> None:
    from service import commands

    folders = [options.data] if options.data else [_demo_folder(), settings.Settings().data]
    data = next((folder for folder in folders if any(folder.glob("simulated-*.port"))), folders[0])
    print(commands.press(data, options.door, options.hold_s))


def _examine(options: argparse.Namespace) -> None:
    from service import commands

    answer, text = commands.examine_for_people(
        options.recording, options.fitout, options.html, _settings(options).time_zone
    )
    print(json.dumps(answer, indent=1, ensure_ascii=False) if options.json else text)


def _fitout(options: argparse.Namespace) -> int:
    from service import commands
    from service.supply.fitout_words import text_of_fields

    if options.sheet is None:
        print(text_of_fields())
        return 0
    answer, text = commands.fitout(options.sheet, options.changes, options.plot)
    print(json.dumps(answer, indent=1, ensure_ascii=False) if options.json else text)
    return WRONG if answer["fits"] is False else 0


def _import(options: argparse.Namespace) -> None:
    from service import commands

    print(commands.import_file(options.file, _settings(options)))


def _export(options: argparse.Namespace) -> None:
    from service import commands
    from service.leaving import Asked

    given = _settings(options)
    stretch = (_moment_s(options.start, given.time_zone, -inf), _moment_s(options.end, given.time_zone, inf))
    target = None if options.file in (None, Path("-")) else options.file
    print(commands.export(options.format, Asked(options.site, options.chime, *stretch), target, given), file=sys.stderr)


def _moment_s(text: str | None, time_zone: str, otherwise_s: float) -> float:
    """POSIX seconds of a time or a day as a person writes it; in the zone of this machine where it names none."""
    if text is None:
        return otherwise_s
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise SettingError(f"{text!r} is no time; write it as 2026-09-14T10:00Z, or a day as 2026-09-14.") from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(time_zone))).timestamp()


def _settings(options: argparse.Namespace) -> settings.Settings:
    named = {name: getattr(options, name, None) for name in ("data", "http_port", "mqtt_port", "broker_url", "listen")}
    if getattr(options, "demo", False) and named["data"] is None and "BELLCRANK_DATA" not in os.environ:
        named["data"] = _demo_folder()
    return settings.read(os.environ, **named)


def _demo_folder() -> Path:
    folder = settings.Settings().data
    return folder.with_name(f"{folder.name}-demo")


def _rebuild(options: argparse.Namespace) -> None:
    from service import commands

    count = commands.rebuild(_settings(options))
    print(f"Rebuilt from {count} packs. What people have said and what examinations found is as it was.")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="bellcrank", description="Logs who rang and when, and how the supply of the chime is.", epilog=CAUTIONS
    )
    parser.add_argument("--verbose", action="store_true", help="say more on standard error")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    run = commands.add_parser("run", help="broker, record, page and API, until Ctrl-C", epilog=CAUTIONS)
    run.set_defaults(call=_run)
    run.add_argument(
        "--demo", action="store_true", help="an invented house with a simulated chime, in a folder of its own"
    )
    run.add_argument("--http", dest="http_port", type=int, metavar="PORT", help="port of page and API (7433)")
    run.add_argument("--mqtt", dest="mqtt_port", type=int, metavar="PORT", help="port of the embedded broker (1883)")
    run.add_argument("--listen", metavar="ADDRESS", help="address of page and API (127.0.0.1: this machine only)")

    simulate = commands.add_parser("simulate", help="a simulated chime at any broker, until Ctrl-C")
    simulate.set_defaults(call=_simulate)
    simulate.add_argument("--cbor", action="store_true", help="send SenML as CBOR instead of JSON")
    simulate.add_argument("--until-input-ends", action="store_true", help=argparse.SUPPRESS)
    invent = commands.add_parser("invent", help="thirty days of the invented house into an empty record")
    invent.set_defaults(call=_invent)
    for command in (run, simulate):
        command.add_argument(
            "--broker", dest="broker_url", metavar="URL", help="mqtt://host:port; use this broker, start none"
        )
    for command in (run, simulate, invent):
        command.add_argument("--data", type=Path, metavar="DIR", help="folder to keep everything in")
        command.add_argument(
            "--fault", metavar="NAME", help="start the simulated chime with this fault, such as reservoir-aged"
        )
        command.add_argument(
            "--severity", type=float, default=0.5, help="of the fault, 0 just noticeable to 1 severe (0.5)"
        )

    press = commands.add_parser("press", help="press a button of the simulated chime")
    press.set_defaults(call=_press)
    press.add_argument("door")
    press.add_argument(
        "--for", dest="hold_s", type=float, default=0.3, metavar="SECONDS", help="how long to hold it (0.3)"
    )
    press.add_argument("--data", type=Path, metavar="DIR", help="folder of the simulated chime")

    examine = commands.add_parser("examine", help="what a recording says", epilog=CAUTIONS)
    examine.set_defaults(call=_examine)
    examine.add_argument("recording", type=Path)
    examine.add_argument("--fitout", type=Path, metavar="SHEET", help="fit-out sheet (JSON)")
    examine.add_argument("--json", action="store_true", help="answer as JSON")
    examine.add_argument("--html", type=Path, metavar="FILE", help="write a page of its own too, with drawings")

    fitout = commands.add_parser(
        "fitout",
        help="what a fit-out sheet says before anything is soldered",
        description="Predicts the rail from a fit-out sheet, with warnings. Exit code 3: something is wrong; 2: not a sheet.",
        epilog=CAUTIONS,
    )
    fitout.set_defaults(call=_fitout)
    fitout.add_argument(
        "sheet",
        nargs="?",
        metavar="SHEET",
        help="JSON file, or - for standard input; without one, the fields are listed",
    )
    fitout.add_argument(
        "--set", dest="changes", action="append", default=[], metavar="FIELD=VALUE",
        help="what if this field were so, such as reservoir_f=1e-3; shows before and after; may be given again",
    )  # fmt: skip
    fitout.add_argument("--json", action="store_true", help="answer as JSON")
    fitout.add_argument("--plot", type=Path, metavar="FILE.svg", help="draw the predicted rail")

    export = commands.add_parser("export", help="kept packs, or presses, as a file, also while it runs")
    kinds = export.add_subparsers(required=True, metavar="WHAT")
    recording = kinds.add_parser("recording", help="everything that was kept, as JSON Lines")
    recording.set_defaults(call=_export, format="recording")
    presses = kinds.add_parser(
        "presses",
        help="presses, with the unseen ones and blind time beside them",
        description="One line a press; what was not seen and when the record was blind are lines of their own kind. As iCalendar: visits.",
    )
    presses.set_defaults(call=_export)
    presses.add_argument("--format", choices=("csv", "jsonl", "ics"), default="csv", help="csv unless you say")
    for command in (recording, presses):
        command.add_argument("file", nargs="?", type=Path, metavar="FILE", help="- or nothing: standard output")
        command.add_argument("--site", metavar="NAME", help="only this house")
        command.add_argument("--chime", metavar="NAME", help="only this chime of it")
        command.add_argument(
            "--from", dest="start", metavar="TIME", help="from this time or day on, such as 2026-09-14T10:00Z"
        )
        command.add_argument("--until", dest="end", metavar="TIME", help="until just before this time or day")

    take = commands.add_parser(
        "import",
        help="take a recording, or exported presses, into the record, while nothing runs on it",
        description="What the file is, its content says. What the record has already is passed over, so that taking the same file"
        " twice changes nothing.",
    )
    take.set_defaults(call=_import)
    take.add_argument("file", type=Path, metavar="FILE")
    for command in (recording, presses, take):
        command.add_argument("--data", type=Path, metavar="DIR", help="folder of the record")

    rebuild = commands.add_parser(
        "rebuild", help="make all that is derived anew from the kept packs, also while it runs"
    )
    rebuild.set_defaults(call=_rebuild)
    rebuild.add_argument("--data", type=Path, metavar="DIR", help="folder of the record")
    return parser


if __name__ == "__main__":
    sys.exit(main())
