"""The composition root of the commands for whoever builds a chime or wires one into automations. Beside `commands` and `bootstrap` the
only file that imports outward."""

import json
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from service.premises import text_of
from service.settings import Settings, now_s


def listen(
    url: str, site: str | None, kinds: Sequence[str], chime: str | None, door: str | None, lowest: str, as_json: bool
) -> None:
    """Print what happens until Ctrl-C, or until nobody reads it any more. Raises SettingError, StoreUnavailable."""
    from adapters.event_stream import events
    from service.alarms.rules import Priority
    from service.listening import Filter, json_line, line
    from service.model import Event

    wanted = Filter(frozenset(kinds), chime, door, Priority(lowest))
    zone = ZoneInfo(Settings().time_zone)
    weighty = sys.stdout.isatty() and "NO_COLOR" not in os.environ
    try:
        for heard in events(url, site):
            data = dict(heard.data)
            event = Event(int(heard.id or 0), time.time(), heard.kind, data.pop("site"), data.pop("chime"), data)  # type: ignore[arg-type]
            if wanted.shows(event):
                print(json_line(event) if as_json else line(event, zone, weighty), flush=True)
    except BrokenPipeError:  # such as `| head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def ask(url: str, place: str, word: str, until_s: float | None, by: str, why: str, waits: bool, as_json: bool) -> bool:
    """Print what came of a request to a chime, or that nothing did in time; whether it is well.

    Raises SettingError, NotFound, Refused, StoreUnavailable.
    """
    from adapters.service_client import ServiceClient
    from service import ask_command

    told = ask_command.ask(ServiceClient(url), place, word, by, why, until_s, time.monotonic, time.sleep, waits)
    zone = ZoneInfo(Settings().time_zone)
    print(json.dumps(told, indent=1, ensure_ascii=False) if as_json else ask_command.sentence(told, zone))
    return ask_command.is_well(told, waits)


def check_chime(place: str, settings: Settings, recording: Path | None, for_s: float, level: str | None) -> bool:
    """Print what a chime under construction does right and wrong; whether it is right, and reaches the level asked for.

    Raises SettingError, BadPack for a bad line of a recording, StoreUnavailable where the broker does not let us in.
    """
    from service import recordings, topics
    from service.chime_check import Check, Message
    from service.chime_words import remark, summary
    from service.model import Address

    site, _, chime = place.partition("/")
    topics.build(Address(site, chime, "pack"), settings.prefix)  # raises BadTopic where the names cannot be
    check = Check()

    def take(message: Message) -> None:
        found = check.take(message)
        print(f"{message.leaf}: {len(message.payload)} bytes, {'right' if not found else 'see'}", flush=True)
        for one in found:
            print(f"  {remark(one)}", flush=True)

    if recording is not None:
        for arrival in recordings.read(text_of(recording).splitlines()):
            address = topics.parse(arrival.topic, settings.prefix)
            if (address.site, address.chime) == (site, chime):
                take(Message(address.leaf, arrival.payload, arrival.received_s, arrival.content_type))
    else:
        from adapters.mqtt import BrokerAccess
        from adapters.topic_ear import messages

        access = BrokerAccess(
            settings.broker_url or f"mqtt://127.0.0.1:{settings.mqtt_port}",
            settings.mqtt_username,
            settings.mqtt_password,
            settings.mqtt_ca,
            settings.mqtt_version,
        )
        print(
            f"Listening to {place} at {access.url} for {for_s:.0f} s. Press each button, and let it sound.", flush=True
        )
        for message in messages(access, f"{settings.prefix}/{topics.VERSION}/{site}/{chime}/", for_s):
            take(message)
    print("\n".join(summary(check)))
    return check.good and (level is None or level in check.levels)


def try_mapping(file: Path, topic: str | None, payload: str | None) -> bool:
    """Print what the mapping file says, or every mistake in it; with a message, what that becomes. Whether all is well."""
    from service.mapping import Translator
    from service.mapping_form import MappingRefused, read_mapping

    try:
        maps = read_mapping(text_of(file))
    except MappingRefused as refused:
        for mistake in refused.mistakes:
            print(f"{file}:{mistake.line}:{mistake.column}: {mistake.text}")
        return False
    if topic is None:
        for one in maps:
            print(f"{one.topic} -> {one.take} {one.door or one.record} of {one.site}/{one.chime}".replace("  ", " "))
        return True
    told = Translator(maps).translate(topic, (payload or "").encode(), now_s())
    for said in told:
        words = said.trouble or said.payload.decode(errors="replace")
        print(f"{said.site}/{said.chime}/{said.leaf}: {words}")
    if not told:
        print(
            "Nothing: no line is for this topic, or nothing has happened yet (a counter tells from its second message on)."
        )
    return not any(said.trouble for said in told)
