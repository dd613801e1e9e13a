"""The composition root: builds every part once. The only file that imports outward."""

import importlib.metadata
import signal
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from service import commands
from service.apart import apart
from service.premises import check_free, is_loopback, say_where, take_folder, text_of
from service.processes import BrokerTender, ChildProcess, give_memory_back, run_to_end, settle
from service.settings import Settings, now_s

if TYPE_CHECKING:
    from service.examination import Examined as ChimeExamined


def run(settings: Settings, demo: "Demo | None" = None) -> None:
    """Everything, until Ctrl-C. Raises SettingError with a sentence for whoever started it; RuntimeError when a part dies."""
    from adapters.alarm_api import build as build_alarms
    from adapters.ask_api import build as build_asks
    from adapters.broker import EmbeddedBroker
    from adapters.calendars_apart import wall_clock
    from adapters.capture_api import build as build_captures
    from adapters.description_api import build as build_descriptions
    from adapters.http_server import Server
    from adapters.mqtt import BrokerAccess, Listener
    from adapters.outlet_api import build as build_outlets
    from adapters.outlets.addresses import read_networks
    from adapters.outlets.broker import BrokerLine
    from adapters.outlets.opening import opener
    from adapters.routes import without_old_models
    from adapters.sql.engine import is_current
    from adapters.sql.work import SqlStore
    from service.actions import Actions
    from service.alarm_actions import AlarmActions
    from service.alarming import Alarming
    from service.asking import Asking
    from service.captures import Captures
    from service.daemon import Part, run_together
    from service.event_words import names_of
    from service.examiner import Examiner
    from service.health import Health
    from service.hostclock import Watched
    from service.hub import Hub
    from service.intake import Understander
    from service.keeper import Keeper
    from service.lookout import Lookout
    from service.mapping import Translator
    from service.mapping_form import read_mapping
    from service.outbox import Outbox
    from service.outlet_actions import OutletActions, tell_the_broker
    from service.present import Present
    from service.timers import Timers
    from service.visits_over import VisitsOver

    without_old_models()
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # ends like Ctrl-C: everything is stopped in order
    with ExitStack() as stack:
        networks = read_networks(settings.outlet_networks)
        take_folder(settings.data, stack)
        check_free(settings.listen, settings.http_port, "--http")
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
        if not is_current(settings.url_of_record):
            apart(migrate, settings.url_of_record)  # Alembic would stay in memory, for nothing
        store = SqlStore(settings.url_of_record, settings.time_zone)
        stack.callback(store.close)
        understander = Understander(store, settings.prefix, settings.enrolment_open)
        if demo and not store.reader().counts().kept:
            demo.invent_past(settings)
        health = Health(
            importlib.metadata.version("bellcrank"),
            now_s(),
            f"{settings.listen}:{settings.http_port}",
            "this machine" if is_loopback(settings.listen) else "the network",
            store=_shown(settings.url_of_record),
        )
        hub = Hub()
        access = BrokerAccess(
            broker.url if broker else settings.broker_url,
            settings.mqtt_username,
            settings.mqtt_password,
            settings.mqtt_ca,
            settings.mqtt_version,
            settings.mqtt_client_id,
        )
        watched = Watched()
        translator = Translator(read_mapping(text_of(Path(settings.mapping)))) if settings.mapping else None
        listener = Listener(access, settings.prefix, health, watched.now_s, translator)
        keeper = Keeper(store, listener, understander, health, now_s, hub.tell, watched=watched)
        lookout, visits_over = Lookout(store.reader(), time.sleep), VisitsOver(store.reader(), time.sleep)

        def look(at_s: float) -> list[Any]:
            return [*lookout.look(at_s), *visits_over.look(at_s)]

        def tidy() -> None:
            store.rest()
            give_memory_back()

        alarming = Alarming(store.reader(), keeper, now_s, time.sleep)
        hub.listen(alarming.told)
        line = BrokerLine(access, settings.prefix)
        asking = Asking(store.reader(), keeper, now_s, line.tell, wall_clock)

        def weigh() -> None:
            alarming.tick()
            asking.tick()
            store.rest()  # what they have read lies warm in a cache that nobody asks again before the next round

        timers = Timers(keeper, now_s, look, tidy, weigh)
        examiner = Examiner(store.reader(), keeper, partial(apart, examine_chime, settings.url_of_record), now_s)
        with store.work() as work:
            tell_the_broker(store.reader(), work, settings.mqtt_events)
        names = partial(names_of, store.reader())
        senders = opener(line, health.version, networks, _path(settings.programs), names)
        outbox = Outbox(store.reader(), keeper, now_s, senders)
        hub.listen(outbox.told)
        present = Present(store.reader(), now_s, line.now)
        outlet_actions = OutletActions(store.reader(), keeper, outbox, now_s, settings.time_zone)
        outlets = build_outlets(store.reader(), outlet_actions)
        alarm_actions = AlarmActions(store.reader(), keeper, alarming, now_s, apart)
        alarms = build_alarms(store.reader(), alarm_actions, now_s)
        asks = build_asks(store.reader(), asking, now_s)
        descriptions = build_descriptions(store.reader(), health, now_s, access.url, settings.prefix)
        actions = Actions(keeper, examiner.ask)
        captures = Captures(store.reader(), keeper, now_s, apart)
        more = [outlets, alarms, asks, descriptions, build_captures(store.reader(), captures)]
        app = build_app(
            store.reader(),
            keeper,
            actions,
            health,
            hub,
            settings,
            watched.now_s,
            more,
            alarm_actions,
            captures,
            outlets=outlet_actions,
        )
        server = Server(app, settings.listen, settings.http_port, hub.end)
        parts = [
            Part("keeper", keeper.run, keeper.stop),
            Part("timers", timers.run, timers.stop),
            Part("examiner", examiner.run, examiner.stop),
            Part("outbox", outbox.run, outbox.stop),
        ]
        if settings.mqtt_events:
            hub.listen(present.told)
            parts.append(Part("present state", present.run, present.stop))
        stack.callback(line.close)
        if broker:
            tender = BrokerTender(broker)
            parts.insert(0, Part("broker", tender.run, tender.stop))
        if demo:
            chime = demo.chime(access.url, settings)
            parts.append(Part("simulated chime", chime.run, chime.stop))
        settle()
        say_where(settings, access.url, health.store, bool(demo))
        try:
            run_together([*parts, Part("page", server.run, server.stop)], health.parts)
        except KeyboardInterrupt:
            print("Stopping. Nothing is left running.", flush=True)


def build_app(
    reader: Any,
    keeper: Any,
    actions: Any,
    health: Any,
    hub: Any,
    settings: Settings,
    received_s: Callable[[], float] = now_s,
    more: Sequence[Any] = (),
    alarms: Any = None,
    captures: Any = None,
    ask: Any = None,
    outlets: Any = None,
) -> Any:
    """The page and the API as one ASGI application. `received_s`: the clock by which packs handed in are received; `more`:
    parts of the API that are built elsewhere."""
    from fastapi import FastAPI
    from fastapi.middleware.gzip import GZipMiddleware

    from adapters import calendars_apart, examination_api, fitout_api, http_api, live, problems
    from adapters.guard import Guard
    from adapters.routes import add_routes
    from dashboard import assets, pages
    from service.teaching import Teaching

    teaching = Teaching(reader, keeper, now_s)
    hub.listen(teaching.told)
    app = FastAPI(
        title="Bellcrank",
        version=health.version,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        summary="Who rang at which door and when, and how the supply of the chime is.",
    )
    problems.install(app)
    app.add_middleware(
        GZipMiddleware, minimum_size=1000, compresslevel=5
    )  # drawings shrink to a sixth; the live stream is left alone
    app.add_middleware(Guard, loopback_only=is_loopback(settings.listen))
    parts = [
        http_api.build(reader, keeper, actions, health, now_s, settings.prefix, received_s, teaching),
        fitout_api.build(_plot),
        examination_api.build(lambda lines, sheet: apart(commands.answer_to, list(lines), sheet, settings.prefix)),
        live.build(reader, hub),
        *more,
    ]
    app.add_api_route("/health", lambda: http_api.health_data(reader, health), include_in_schema=False)
    app.mount(assets.MOUNTED_AT, assets.Assets(), name="static")
    parts.append(
        pages.build(
            reader,
            actions,
            health,
            now_s,
            prefix=settings.prefix,
            lessons=teaching,
            read_calendar=calendars_apart.read_away,
            alarms=alarms,
            outlets=outlets,
            captures=captures,
            ask=ask,
            on_paper=lambda page: apart(_on_paper, page),
        )
    )
    for part in parts:
        add_routes(app, part)
    return app


class Demo:
    """The invented house: thirty days of history where the record is empty, and a simulated chime that goes on with it."""

    DAYS = 30
    SITE, CHIME = "tern-cottage", "hall"
    BY = "the invented house"
    SURVEYS = 12  # of its thirty days that are measured before it opens; all would take ten seconds more

    def __init__(self, fault: str | None = None, severity: float = 0.5) -> None:
        self._fault, self._severity = fault, severity

    def invent_past(self, settings: Settings) -> None:
        """Fill an empty record, in a process of its own, so that what this takes of memory is given back."""
        run_to_end(["invent", *self._arguments(settings)])

    def chime(self, broker_url: str, settings: Settings) -> ChildProcess:
        return ChildProcess(["simulate", "--broker", broker_url, *self._arguments(settings)])

    def _arguments(self, settings: Settings) -> list[str]:
        fault = ["--fault", self._fault] if self._fault else []
        return ["--data", str(settings.data), "--severity", str(self._severity), *fault]


def invent(settings: Settings, fault: str | None, severity: float) -> None:
    """Thirty days of Tern Cottage into the record of a folder."""
    from tqdm import tqdm

    from adapters.simulated import history
    from adapters.simulated.installation import FIT_OUT
    from adapters.sql.work import SqlStore
    from service import examination
    from service.examine import take_in
    from service.intake import Understander
    from service.past_surveys import past_surveys

    store = SqlStore(settings.url_of_record, settings.time_zone)
    now = now_s()
    start = now - Demo.DAYS * 86400
    past = history.history(
        start_s=start, end_s=now, data_dir=settings.data, fault=fault, severity=severity, prefix=settings.prefix
    )
    bar = tqdm(
        past,
        desc="Inventing thirty days of Tern Cottage",
        total=history.estimate(start, now),
        bar_format="{desc}: {percentage:3.0f}% {bar:30}",
        ascii=" -",
    )
    take_in(store, bar, Understander(store, settings.prefix))
    with store.work() as work:
        work.claim(Demo.SITE, Demo.CHIME, "Tern Cottage")
        work.rename_site(Demo.SITE, "Tern Cottage (invented)", "Europe/London")
        work.rename_door(Demo.SITE, Demo.CHIME, "front", "Front door")
        work.rename_door(Demo.SITE, Demo.CHIME, "garden", "Garden door")
        work.keep_fitout(Demo.SITE, Demo.CHIME, FIT_OUT, start, Demo.BY)
    surveys = past_surveys(store.reader(), Demo.SITE, Demo.CHIME, most=Demo.SURVEYS)
    with store.work() as work:  # as if an examination had followed each of them
        for survey in surveys:
            examination.keep_survey(work, Demo.SITE, Demo.CHIME, survey)
    store.close()


def migrate(url: str) -> None:
    """Bring a record to the present form; for a process of its own."""
    from adapters.sql.engine import open_engine

    open_engine(url).dispose()


def examine_chime(url: str, site: str, chime: str, at_s: float) -> "ChimeExamined | None":
    """One chime of a record, read and judged; for a process of its own."""
    from adapters.sql.engine import open_engine
    from adapters.sql.reader import SqlReader
    from service import examination
    from service.findings.judge import judge

    engine = open_engine(url)
    try:
        return examination.examine(SqlReader(engine), judge, site, chime, at_s)
    finally:
        engine.dispose()


def _on_paper(page: str) -> bytes:
    """A page as a PDF; for a process of its own."""
    from dashboard.paper import pdf

    return pdf(page)


def _plot(found: Any, before: Any) -> str:
    """A fit-out check drawn. Who never asks for one need not load it."""
    from dashboard.fitout_plot import plot

    return plot(found, before)


def _path(text: str) -> Path | None:
    return Path(text) if text else None


def _shown(url: str) -> str:
    """Without a password."""
    from sqlalchemy import make_url

    return make_url(url).render_as_string(hide_password=True)
