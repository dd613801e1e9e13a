"""The command line: parse arguments, call bootstrap, turn errors made on purpose into one sentence."""

import argparse
import json
import logging
import os
import sys
from collections.abc import Callable, Sequence
from datetime import datetime
from math import inf
from pathlib import Path
from zoneinfo import ZoneInfo

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy: our matrices are small, and each thread keeps megabytes

from service import settings
from service.arguments import parser
from service.errors import BellcrankError, SettingError

WRONG = 3
"""Exit code of `fitout` and `check-chime` where something is wrong, and of `ask` where no answer came."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Exit code 0; 2 with a sentence on standard error for whatever the person who called can mend; 1 when a part died; `WRONG` from
    those whose answer is no."""
    options = parser().parse_args(arguments)
    logging.basicConfig(
        level=logging.INFO if options.verbose else logging.WARNING,
        format="%(asctime)s %(levelname)s %(name)s: %(message)s",
    )
    try:
        return int(CALLS[options.call](options) or 0)
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
    if options.pdf is not None:
        commands.report_of(options.recording, options.fitout, options.pdf, _settings(options).time_zone)
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


def _capture(options: argparse.Namespace) -> None:
    from service import commands

    given = (options.point, options.channel, options.step_s, options.full_scale_v)
    answer, text = commands.capture(options.file, options.fitout, *given)
    print(json.dumps(answer, indent=1, ensure_ascii=False) if options.json else text)


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


def _listen(options: argparse.Namespace) -> None:
    from service import maker_commands

    maker_commands.listen(
        options.url, options.site, options.kinds, options.chime, options.door, options.priority, options.json
    )


def _ask(options: argparse.Namespace) -> int:
    from service import maker_commands

    until_s = None if options.for_s is None else settings.now_s() + options.for_s
    if options.until is not None:
        until_s = _moment_s(options.until, _settings(options).time_zone, inf)
    given = (until_s, options.by, options.why, options.waits, options.json)
    return 0 if maker_commands.ask(options.url, options.place, options.what, *given) else WRONG


def _check_chime(options: argparse.Namespace) -> int:
    from service import maker_commands

    wanted = _settings(options)
    right = maker_commands.check_chime(options.place, wanted, options.recording, options.for_s, options.level)
    return 0 if right else WRONG


def _map(options: argparse.Namespace) -> int:
    from service import maker_commands

    return 0 if maker_commands.try_mapping(options.file, options.topic, options.payload) else WRONG


CALLS: dict[str, Callable[[argparse.Namespace], int | None]] = {
    "run": _run,
    "simulate": _simulate,
    "invent": _invent,
    "press": _press,
    "examine": _examine,
    "fitout": _fitout,
    "capture": _capture,
    "export": _export,
    "import": _import,
    "rebuild": _rebuild,
    "listen": _listen,
    "ask": _ask,
    "check_chime": _check_chime,
    "map": _map,
}


if __name__ == "__main__":
    sys.exit(main())
