"""The composition root: builds every part once. The only file that imports outward."""

import fcntl
import importlib.metadata
import logging
import signal
import socket
import subprocess
import sys
import threading
from contextlib import ExitStack
from pathlib import Path
from typing import IO, Any

from service.errors import SettingError
from service.settings import Settings, now_s

log = logging.getLogger(__name__)

RESTART_AFTER_S = 1.0
"""Pause before an embedded broker that died is started again."""


def run(settings: Settings, demo: "Demo | None" = None) -> None:
    """Everything, until Ctrl-C. Raises SettingError with a sentence for whoever started it; RuntimeError when a part dies."""
    import uvicorn

    from adapters.broker import EmbeddedBroker
    from adapters.mqtt import BrokerAccess, Listener
    from adapters.sql.work import SqlStore
    from service.actions import Actions
    from service.daemon import Part, run_together
    from service.health import Health
    from service.hub import Hub
    from service.intake import Understander
    from service.keeper import Keeper
    from service.timers import Timers

    signal.signal(signal.SIGTERM, signal.default_int_handler)  # ends like Ctrl-C: everything is stopped in order
    with ExitStack() as stack:
        _take_folder(settings.data, stack)
        _check_free(settings.listen, settings.http_port, "--http")
        broker = None
        if not settings.broker_url:
            broker = EmbeddedBroker(
                settings.data,
                settings.mqtt_port,
                address=settings.mqtt_listen,
                username=settings.mqtt_username or None,
                password=settings.mqtt_password or None,
                certificate=_path(settings.mqtt_certificate),
                key=_path(settings.mqtt_key),
            )
            broker.start()
            stack.callback(broker.stop)
        store = SqlStore(settings.url_of_record, settings.time_zone)
        stack.callback(store.close)
        understander = Understander(store, settings.prefix, settings.enrolment_open)
        if demo:
            demo.prepare(store, understander, settings)
        health = Health(
            importlib.metadata.version("bellcrank"),
            now_s(),
            f"{settings.listen}:{settings.http_port}",
            "this machine" if _is_loopback(settings.listen) else "the network",
            store=_shown(settings.url_of_record),
        )
        hub = Hub()
        keeper = Keeper(store, understander, health, now_s, hub.tell)
        access = BrokerAccess(
            broker.url if broker else settings.broker_url,
            settings.mqtt_username,
            settings.mqtt_password,
            settings.mqtt_ca,
            settings.mqtt_version,
            settings.mqtt_client_id,
        )
        listener, timers = Listener(access, settings.prefix, keeper.submit, health, now_s), Timers(keeper, now_s)
        app = build_app(store.reader(), keeper, Actions(keeper), health, hub, settings)
        server = uvicorn.Server(
            uvicorn.Config(
                app,
                settings.listen,
                settings.http_port,
                log_config=None,
                access_log=False,
                timeout_graceful_shutdown=2,
                lifespan="off",
            )
        )
        parts = [
            Part("keeper", keeper.run, keeper.stop),
            Part("listener", listener.run, listener.stop),
            Part("timers", timers.run, timers.stop),
        ]
        if broker:
            tender = BrokerTender(broker)
            parts.insert(0, Part("broker", tender.run, tender.stop))
        if demo:
            chime = demo.chime(access.url, settings)
            parts.append(Part("simulated chime", chime.run, chime.stop))
        _say_where(settings, access.url, demo)
        try:
            run_together([*parts, Part("page", server.run, lambda: _end(server, hub))], health.parts)
        except KeyboardInterrupt:
            print("Stopping. Nothing is left running.", flush=True)


def build_app(reader: Any, keeper: Any, actions: Any, health: Any, hub: Any, settings: Settings) -> Any:
    """The page and the API as one ASGI application."""
    from fastapi import FastAPI
    from starlette.staticfiles import StaticFiles

    from adapters import http_api, live, problems
    from adapters.guard import Guard
    from dashboard import pages

    app = FastAPI(
        title="Bellcrank",
        version=health.version,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        summary="Who rang at which door and when, and how the supply of the chime is.",
    )
    problems.install(app)
    app.add_middleware(Guard, loopback_only=_is_loopback(settings.listen))
    app.include_router(http_api.build(reader, keeper, actions, health, now_s, settings.prefix))
    app.include_router(live.build(reader, hub))
    app.add_api_route("/health", lambda: http_api.health_data(reader, health), include_in_schema=False)
    app.mount("/static", StaticFiles(directory=pages.STATIC), name="static")
    app.include_router(pages.build(reader, actions, health, now_s))
    return app


class BrokerTender:
    """Starts the embedded broker again when it dies."""

    def __init__(self, broker: Any) -> None:
        self._broker, self._stopping = broker, threading.Event()

    def run(self) -> None:
        while not self._stopping.is_set():
            self._broker.process.wait()
            if not self._stopping.wait(RESTART_AFTER_S):
                log.warning("The embedded broker has ended; starting it again")
                self._broker.start()

    def stop(self) -> None:
        self._stopping.set()
        self._broker.stop()


class ChildProcess:
    """Another command of this program, running beside. It ends when its standard input closes, so it never outlives us."""

    def __init__(self, arguments: list[str]) -> None:
        self._arguments = arguments
        self._process: subprocess.Popen[bytes] | None = None
        self._stopping = False

    def run(self) -> None:
        self._process = subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "-m", "service", *self._arguments, "--until-input-ends"],
            stdin=subprocess.PIPE,
            start_new_session=True,
        )
        code = self._process.wait()
        if not self._stopping:
            raise RuntimeError(f"it ended with exit code {code}")

    def stop(self) -> None:
        self._stopping = True
        if self._process and self._process.stdin:
            self._process.stdin.close()
            self._process.wait()


class Demo:
    """The invented house: thirty days of history where the record is empty, and a simulated chime that goes on with it."""

    DAYS = 30
    SITE, CHIME = "tern-cottage", "hall"

    def __init__(self, fault: str | None = None, severity: float = 0.5) -> None:
        self._fault, self._severity = fault, severity

    def prepare(self, store: Any, understander: Any, settings: Settings) -> None:
        """Fill an empty record."""
        from adapters.simulated import history
        from tqdm import tqdm

        from service.examine import take_in

        if store.reader().counts().kept:
            return
        now = now_s()
        past = history.history(
            start_s=now - self.DAYS * 86400,
            end_s=now,
            data_dir=settings.data,
            fault=self._fault,
            severity=self._severity,
            prefix=settings.prefix,
        )
        bar = tqdm(
            past,
            desc="Inventing thirty days of Tern Cottage",
            total=history.estimate(now - self.DAYS * 86400, now),
            unit=" packs",
            ascii=" -",
            bar_format="{desc}: {percentage:3.0f}% {bar:30}",
            disable=None,
        )
        take_in(store, bar, understander)
        with store.work() as work:
            work.claim(self.SITE, self.CHIME, "Tern Cottage (invented)")
            work.rename_site(self.SITE, "Tern Cottage (invented)", "Europe/London")
            work.rename_door(self.SITE, self.CHIME, "front", "Front door")
            work.rename_door(self.SITE, self.CHIME, "garden", "Garden door")

    def chime(self, broker_url: str, settings: Settings) -> ChildProcess:
        arguments = [
            "simulate",
            "--broker",
            broker_url,
            "--data",
            str(settings.data),
            "--severity",
            str(self._severity),
        ]
        return ChildProcess([*arguments, "--fault", self._fault] if self._fault else arguments)


def simulate(settings: Settings, fault: str | None, severity: float, cbor: bool, until_input_ends: bool) -> None:
    """The simulated chime alone, at any broker, until Ctrl-C."""
    from adapters.simulated import house

    if until_input_ends:
        threading.Thread(target=_interrupt_when_input_ends, daemon=True).start()
    if not settings.broker_url:
        raise SettingError("Name the broker with --broker mqtt://host:port.")
    house.run(
        broker_url=settings.broker_url,
        data_dir=settings.data,
        username=settings.mqtt_username or None,
        password=settings.mqtt_password or None,
        ca=settings.mqtt_ca or None,
        fault=fault,
        severity=severity,
        cbor=cbor,
        prefix=settings.prefix,
    )


def press(data: Path, door: str, hold_s: float) -> str:
    """Press a button of the simulated chime that runs on this folder; what it answered, in words."""
    from adapters.simulated import house

    house.press(data, door, hold_s)
    return f"The {door} button is held for {hold_s:g} s."


def examine(recording: Path, fitout: Path | None) -> dict[str, Any]:
    """What a recording says. Raises SettingError, BadPack."""
    from adapters.sql.work import SqlStore
    from service import recordings
    from service.examine import examine as run_examination
    from service.intake import Understander
    from service.supply.fitout import read_fitout

    if fitout is not None:
        read_fitout(_text(fitout))  # checked now; used once findings are looked for
    store = SqlStore("sqlite://")
    with _opened(recording) as lines:
        return run_examination(store, recordings.read(lines), Understander(store))


def import_recording(recording: Path, settings: Settings) -> int:
    """Take a recording into the record of a folder on which nothing runs; how many packs were read."""
    from adapters.sql.work import SqlStore
    from service import recordings
    from service.examine import take_in
    from service.intake import Understander

    with ExitStack() as stack:
        _take_folder(settings.data, stack)
        store = SqlStore(settings.url_of_record, settings.time_zone)
        stack.callback(store.close)
        lines = stack.enter_context(_opened(recording))
        return take_in(store, recordings.read(lines), Understander(store, settings.prefix, settings.enrolment_open))


def _take_folder(data: Path, stack: ExitStack) -> None:
    """Make the folder ours until the stack ends."""
    try:
        data.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock: IO[str] = stack.enter_context((data / "in-use").open("w"))
    except OSError as error:
        raise SettingError(
            f"The folder {data} cannot be written ({error.strerror}); choose another with --data."
        ) from None
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise SettingError(
            f"Bellcrank already runs on the folder {data}; stop it, or choose another with --data."
        ) from None


def _check_free(address: str, port: int, option: str) -> None:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except OSError as error:
            raise SettingError(
                f"Port {port} on {address} cannot be used ({error.strerror}); choose another with {option}."
            ) from None


def _say_where(settings: Settings, broker_url: str, demo: Demo | None) -> None:
    shown = "localhost" if _is_loopback(settings.listen) else settings.listen
    lines = [
        f"Look at        http://{shown}:{settings.http_port}/",
        f"Chimes send to {broker_url}, topic {settings.prefix}/1/<site>/<chime>/pack",
        f"The record     {_shown(settings.url_of_record)}",
    ]
    if demo:
        lines.append("Press a button bellcrank press front --for 0.4   (.venv/bin/bellcrank from the checkout)")
    if _is_loopback(settings.listen):
        lines.append("Only this machine can see the page: there are no accounts yet. --listen opens it to the network.")
    else:
        lines.append("Everybody on the network can see and change everything: there are no accounts yet.")
    print("\n".join(lines), flush=True)


def _end(server: Any, hub: Any) -> None:
    hub.end()
    server.should_exit = True


def _interrupt_when_input_ends() -> None:
    sys.stdin.buffer.read()
    signal.raise_signal(signal.SIGTERM)


def _opened(path: Path) -> IO[str]:
    try:
        return path.open(encoding="utf-8")
    except OSError as error:
        raise SettingError(f"The recording {path} cannot be read: {error.strerror}.") from None


def _text(path: Path) -> str:
    with _opened(path) as lines:
        return lines.read()


def _path(text: str) -> Path | None:
    return Path(text) if text else None


def _is_loopback(address: str) -> bool:
    return address in ("localhost", "::1") or address.startswith("127.")


def _shown(url: str) -> str:
    """Without a password."""
    from sqlalchemy import make_url

    return make_url(url).render_as_string(hide_password=True)
