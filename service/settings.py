"""Every setting: default, unit, one sentence. Read once, from BELLCRANK_* in the environment; options of the command win.

Knows no part that uses it.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from service.errors import SettingError


def _setting(default: Any, meaning: str) -> Any:
    return field(default=default, metadata={"meaning": meaning})


def _data_dir() -> Path:
    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(base) / "bellcrank"


def _time_zone() -> str:
    """IANA name of this machine's zone, UTC where it tells none."""
    name = os.environ.get("TZ", "")
    if "/" in name:
        return name.lstrip(":")
    linked = os.path.realpath("/etc/localtime")
    return linked.partition("/zoneinfo/")[2] or "UTC"


@dataclass(frozen=True, slots=True)
class Settings:
    data: Path = field(
        default_factory=_data_dir, metadata={"meaning": "folder of the record and of the embedded broker"}
    )
    database_url: str = _setting("", "SQLAlchemy URL of the record; empty = SQLite in the data folder")
    listen: str = _setting(
        "127.0.0.1", "address of the page and the API; anything but loopback opens them to the network"
    )
    http_port: int = _setting(7433, "TCP port of the page and the API")
    mqtt_port: int = _setting(1883, "TCP port of the embedded broker")
    mqtt_listen: str = _setting("127.0.0.1", "address of the embedded broker; a chime on the wall needs 0.0.0.0")
    broker_url: str = _setting("", "mqtt://host:port or mqtts://host:port; empty = start the embedded broker")
    mqtt_username: str = _setting("", "user name at the broker")
    mqtt_password: str = _setting("", "password at the broker")
    mqtt_ca: str = _setting(
        "", "file with the certificate of a private CA that signed the broker's; empty = the system's CAs"
    )
    mqtt_certificate: str = _setting("", "certificate file of the embedded broker; with mqtt_key it speaks TLS")
    mqtt_key: str = _setting("", "key file of the embedded broker")
    mqtt_version: str = _setting("3.1.1", "3.1.1 or 5; the embedded broker speaks 3.1.1 only")
    mqtt_client_id: str = _setting(
        "bellcrank", "names the persistent session at the broker; two services need two names"
    )
    prefix: str = _setting("bellcrank", "first part of every topic")
    enrolment_open: bool = _setting(
        True, "whether packs of chimes that nobody has claimed are understood, else refused"
    )
    mqtt_events: bool = _setting(
        True, "whether events and the present state are told at the broker, on `event` and `now`"
    )
    outlet_networks: str = _setting(
        "",
        "networks such as 192.168.1.0/24, with commas between, into which webhooks and mail may go though not public",
    )
    mapping: str = _setting("", "file that tells how chimes that speak otherwise are understood (TOML); empty = none")
    programs: str = _setting("", "folder of the programs that an event may call; empty = none")
    time_zone: str = field(default_factory=_time_zone, metadata={"meaning": "IANA zone that a new site gets"})

    @property
    def url_of_record(self) -> str:
        return self.database_url or f"sqlite:///{self.data / 'record.sqlite'}"


def read(environment: Mapping[str, str], **options: Any) -> Settings:
    """Settings from the environment, then from options that are not None. Raises SettingError with one sentence."""
    found: dict[str, Any] = {}
    for setting in fields(Settings):
        text = environment.get(f"BELLCRANK_{setting.name.upper()}")
        if text is not None:
            found[setting.name] = _typed(setting.name, setting.type, text)
    found |= {name: value for name, value in options.items() if value is not None}
    settings = replace(Settings(), **found)
    for name in ("http_port", "mqtt_port"):
        if not 1 <= getattr(settings, name) <= 65535:
            raise SettingError(f"{name} is {getattr(settings, name)}; a TCP port is 1 to 65535.")
    if settings.mqtt_version not in ("3.1.1", "5"):
        raise SettingError(f"mqtt_version is {settings.mqtt_version!r}; choose 3.1.1 or 5.")
    if settings.mqtt_version == "5" and not settings.broker_url:
        raise SettingError("The embedded broker speaks MQTT 3.1.1 only; name another broker with --broker for MQTT 5.")
    if settings.mqtt_listen != "127.0.0.1" and not settings.broker_url and not settings.mqtt_username:
        raise SettingError(
            "A broker that the network can reach needs a password: set BELLCRANK_MQTT_USERNAME and BELLCRANK_MQTT_PASSWORD."
        )
    return settings


def _typed(name: str, kind: Any, text: str) -> Any:
    if kind is bool:
        if text.lower() not in ("0", "1", "false", "true", "no", "yes"):
            raise SettingError(f"BELLCRANK_{name.upper()} is {text!r}; choose yes or no.")
        return text.lower() in ("1", "true", "yes")
    if kind is int:
        try:
            return int(text)
        except ValueError:
            raise SettingError(f"BELLCRANK_{name.upper()} is {text!r}; a whole number is needed.") from None
    return Path(text) if kind is Path else text


def now_s() -> float:
    """The clock on the wall, POSIX seconds."""
    return datetime.now(UTC).timestamp()
