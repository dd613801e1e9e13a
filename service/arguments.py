"""What may be said on the command line. Knows nothing of what is then done."""

import argparse
from pathlib import Path

from service.alarms.rules import Priority
from service.ask_command import WORDS
from service.levels import NEEDS
from service.listening import KINDS

CAUTIONS = (
    "The mains side of a bell transformer is for a licensed electrician and the local code. Isolate before touching wiring; a "
    "reservoir capacitor stays charged. A bell circuit is no alarm, no emergency call and no medical aid."
)


def parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="bellcrank", description="Logs who rang and when, and how the supply of the chime is.", epilog=CAUTIONS
    )
    parser.add_argument("--verbose", action="store_true", help="say more on standard error")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    run = commands.add_parser("run", help="broker, record, page and API, until Ctrl-C", epilog=CAUTIONS)
    run.set_defaults(call="run")
    run.add_argument(
        "--demo", action="store_true", help="an invented house with a simulated chime, in a folder of its own"
    )
    run.add_argument("--http", dest="http_port", type=int, metavar="PORT", help="port of page and API (7433)")
    run.add_argument("--mqtt", dest="mqtt_port", type=int, metavar="PORT", help="port of the embedded broker (1883)")
    run.add_argument("--listen", metavar="ADDRESS", help="address of page and API (127.0.0.1: this machine only)")

    simulate = commands.add_parser("simulate", help="a simulated chime at any broker, until Ctrl-C")
    simulate.set_defaults(call="simulate")
    simulate.add_argument("--cbor", action="store_true", help="send SenML as CBOR instead of JSON")
    simulate.add_argument("--until-input-ends", action="store_true", help=argparse.SUPPRESS)
    invent = commands.add_parser("invent", help="thirty days of the invented house into an empty record")
    invent.set_defaults(call="invent")
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
    press.set_defaults(call="press")
    press.add_argument("door")
    press.add_argument(
        "--for", dest="hold_s", type=float, default=0.3, metavar="SECONDS", help="how long to hold it (0.3)"
    )
    press.add_argument("--data", type=Path, metavar="DIR", help="folder of the simulated chime")

    listen = commands.add_parser(
        "listen",
        help="what happens, line by line, until Ctrl-C",
        description="Hears the service's own stream, comes back by itself where it ends, and shows what it missed.",
    )
    listen.set_defaults(call="listen")
    listen.add_argument("--url", default="http://localhost:7433", help="of the service (http://localhost:7433)")
    listen.add_argument(
        "--kind",
        dest="kinds",
        action="append",
        default=[],
        choices=KINDS,
        help="only this kind of event; may be given again; supply is shown only where it is asked for",
    )
    for name in ("site", "chime", "door"):
        listen.add_argument(f"--{name}", help=f"only this {name}")
    listen.add_argument("--priority", default="low", choices=[one.value for one in Priority], help="only from this on")
    listen.add_argument("--json", action="store_true", help="one JSON object a line")

    ask = commands.add_parser(
        "ask",
        help="asks a chime for a survey of its supply, for one sound or for quiet, and says what came of it",
        description="Asks through the running service, and waits for the answer. Exit code 0: it came, or the request for quiet was"
        " sent; 3: it did not come, or the chime could not be asked.",
    )
    ask.set_defaults(call="ask")
    ask.add_argument("place", metavar="SITE/CHIME", help="such as tern-cottage/hall")
    ask.add_argument(
        "what", choices=list(WORDS), help="a survey takes some seconds, with the test load; hush needs an end"
    )
    end = ask.add_mutually_exclusive_group()
    end.add_argument("--until", metavar="TIME", help="end of a hush, such as 2026-09-14T22:00Z")
    end.add_argument(
        "--for", dest="for_s", type=float, metavar="SECONDS", help="how long a hush lasts, a day at the most"
    )
    ask.add_argument("--by", default="", metavar="NAME", help="who asks")
    ask.add_argument("--why", default="", metavar="TEXT", help="a note beside it")
    ask.add_argument("--no-wait", dest="waits", action="store_false", help="do not wait for the answer")
    ask.add_argument("--json", action="store_true", help="how it ended, as JSON")
    ask.add_argument("--url", default="http://localhost:7433", help="of the service (http://localhost:7433)")

    check = commands.add_parser(
        "check-chime",
        help="listens to a chime under construction and says what is right, wrong and missing",
        description="Exit code 0: it keeps the contract, and shows the level asked for; 3: it does not.",
    )
    check.set_defaults(call="check_chime")
    check.add_argument("place", metavar="SITE/CHIME", help="such as tern-cottage/hall")
    check.add_argument("--broker", dest="broker_url", metavar="URL", help="where it sends (mqtt://127.0.0.1:1883)")
    check.add_argument("--recording", type=Path, metavar="FILE", help="look at a recording instead")
    check.add_argument(
        "--for", dest="for_s", type=float, default=60.0, metavar="SECONDS", help="how long to listen (60)"
    )
    check.add_argument("--level", choices=list(NEEDS), help="the level that it must show")

    mapping = commands.add_parser(
        "map",
        help="tries a mapping file for chimes that speak otherwise",
        description="Without a message: what the file says, or every mistake in it with line and column. Exit code 3: not well.",
    )
    mapping.set_defaults(call="map")
    mapping.add_argument("--try", dest="file", type=Path, metavar="FILE", required=True, help="the mapping file (TOML)")
    mapping.add_argument("--topic", help="of a message to be tried")
    mapping.add_argument("--payload", help="of that message")

    examine = commands.add_parser("examine", help="what a recording says", epilog=CAUTIONS)
    examine.set_defaults(call="examine")
    examine.add_argument("recording", type=Path)
    examine.add_argument("--fitout", type=Path, metavar="SHEET", help="fit-out sheet (JSON)")
    examine.add_argument("--json", action="store_true", help="answer as JSON")
    examine.add_argument("--html", type=Path, metavar="FILE", help="write a page of its own too, with drawings")
    examine.add_argument(
        "--pdf", type=Path, metavar="FILE", help="write the report for the customer and the trade, for paper"
    )

    fitout = commands.add_parser(
        "fitout",
        help="what a fit-out sheet says before anything is soldered",
        description="Predicts the rail from a fit-out sheet, with warnings. Exit code 3: something is wrong; 2: not a sheet.",
        epilog=CAUTIONS,
    )
    fitout.set_defaults(call="fitout")
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

    capture = commands.add_parser(
        "capture",
        help="what a file of an oscilloscope shows",
        description="Reads a capture (CSV or WAV), measures it, names what it shows, and lays it beside what a fit-out sheet predicts.",
        epilog=CAUTIONS,
    )
    capture.set_defaults(call="capture")
    capture.add_argument("file", type=Path, metavar="FILE")
    capture.add_argument(
        "--point",
        default="",
        metavar="POINT",
        help="where it was taken: transformer, terminal, rectifier, regulated or detector",
    )
    capture.add_argument("--fitout", type=Path, metavar="SHEET", help="fit-out sheet (JSON)")
    capture.add_argument("--channel", default="", help="by name or number; the first")
    capture.add_argument(
        "--step",
        dest="step_s",
        type=float,
        metavar="SECONDS",
        help="from sample to sample, where the text does not tell",
    )
    capture.add_argument("--full-scale", dest="full_scale_v", type=float, metavar="VOLTS", help="of a sound file")
    capture.add_argument("--json", action="store_true", help="answer as JSON")

    export = commands.add_parser("export", help="kept packs, or presses, as a file, also while it runs")
    kinds = export.add_subparsers(required=True, metavar="WHAT")
    recording = kinds.add_parser("recording", help="everything that was kept, as JSON Lines")
    recording.set_defaults(call="export", format="recording")
    presses = kinds.add_parser(
        "presses",
        help="presses, with the unseen ones and blind time beside them",
        description="One line a press; what was not seen and when the record was blind are lines of their own kind. As iCalendar: visits.",
    )
    presses.set_defaults(call="export")
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
    take.set_defaults(call="import")
    take.add_argument("file", type=Path, metavar="FILE")
    for command in (recording, presses, take):
        command.add_argument("--data", type=Path, metavar="DIR", help="folder of the record")

    rebuild = commands.add_parser(
        "rebuild", help="make all that is derived anew from the kept packs, also while it runs"
    )
    rebuild.set_defaults(call="rebuild")
    rebuild.add_argument("--data", type=Path, metavar="DIR", help="folder of the record")
    return parser
