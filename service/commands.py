"""The composition root of the commands that run once and end. Beside `bootstrap`, which runs the service, and `maker_commands` the only
file that imports outward."""

import json
import sys
import threading
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from service.errors import SettingError
from service.premises import opened, take_folder, text_of, write_out
from service.processes import interrupt_when_input_ends
from service.settings import Settings, now_s

if TYPE_CHECKING:
    from service.examine import Examined
    from service.leaving import Asked


def simulate(settings: Settings, fault: str | None, severity: float, cbor: bool, until_input_ends: bool) -> None:
    """The simulated chime alone, at any broker, until Ctrl-C."""
    from adapters.simulated import house

    if until_input_ends:
        threading.Thread(target=interrupt_when_input_ends, daemon=True).start()
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
    from service.examine import answer

    with opened(recording) as lines:
        return answer(examined(lines, text_of(fitout) if fitout else None))


def examine_for_people(
    recording: Path, fitout: Path | None, page: Path | None, time_zone: str
) -> tuple[dict[str, Any], str]:
    """The same, and as text, and drawn into a page of its own; times of day of `time_zone`. Raises SettingError, BadPack."""
    from dashboard import examined_text
    from dashboard.examined import page as page_of
    from service.examine import answer

    with opened(recording) as lines:
        found = examined(lines, text_of(fitout) if fitout else None)
    if page is not None:
        try:
            page.write_text(page_of(found, recording.name, time_zone), encoding="utf-8")
        except OSError as error:
            raise SettingError(f"{page} cannot be written: {error.strerror}.") from None
    return answer(found), examined_text.text(found, time_zone)


def report_of(recording: Path, fitout: Path | None, target: Path, time_zone: str) -> None:
    """The report on a recording, as a PDF. Raises SettingError, BadPack."""
    from dashboard.paper import pdf

    with opened(recording) as lines:
        page = report_page(lines, text_of(fitout) if fitout else None, time_zone)
    written = pdf(page)
    try:
        target.write_bytes(written)
    except OSError as error:
        raise SettingError(f"{target} cannot be written: {error.strerror}.") from None


def report_page(lines: Iterable[str], sheet: str | None, time_zone: str, prefix: str = "bellcrank") -> str:
    """The recording taken into a record of its own, examined there as the service would, and reported on as of its last pack."""
    from adapters.sql.work import SqlStore
    from dashboard import house, report
    from dashboard.report_style import style
    from service import examination, recordings
    from service.examine import examine as run_examination
    from service.findings.judge import judge
    from service.health import Health
    from service.intake import Understander
    from service.past_surveys import past_surveys

    store = SqlStore("sqlite://", time_zone)
    try:
        run_examination(
            store, recordings.read(lines), Understander(store, prefix), json.loads(sheet) if sheet else None
        )
        reader = store.reader()
        chimes = reader.chimes()
        sites = sorted({chime.site for chime in chimes})
        if len(sites) != 1:
            raise SettingError(
                "A report is of one house, and this recording is of " + (", ".join(sites) if sites else "none") + "."
            )
        last_s = max(chime.last_heard_s for chime in chimes)
        for chime in chimes:
            found = examination.examine(reader, judge, chime.site, chime.chime, chime.last_heard_s)
            past = past_surveys(reader, chime.site, chime.chime)
            with store.work() as work:
                work.claim(chime.site, chime.chime, None)
                for survey in past:
                    examination.keep_survey(work, chime.site, chime.chime, survey)
                if found is not None:
                    examination.conclude(work, found)
        told = Health("", last_s, "")
        around = house.back(reader, reader.site(sites[0]), told, last_s, report.DAYS)
        return report.page(reader, around, report.Standing(style=style()))
    finally:
        store.close()


def answer_to(lines: list[str], sheet: str | None, prefix: str) -> dict[str, Any]:
    """What a recording handed in over the API says; for a process of its own. Raises SettingError, BadPack."""
    from service.examine import answer

    return answer(examined(lines, sheet, prefix))


def examined(lines: Iterable[str], sheet: str | None, prefix: str = "bellcrank") -> "Examined":
    """A recording examined in a record of its own, which is in memory and gone afterwards. `sheet`: a fit-out sheet, as JSON."""
    from adapters.sql.work import SqlStore
    from service import recordings
    from service.examine import examine as run_examination
    from service.intake import Understander
    from service.supply.fitout import read_fitout

    if sheet is not None:
        read_fitout(sheet)  # raises what is wrong with it
    with ExitStack() as stack:
        store = SqlStore("sqlite://")
        stack.callback(store.close)
        given = json.loads(sheet) if sheet is not None else None
        return run_examination(store, recordings.read(lines), Understander(store, prefix), given)


def capture(
    file: Path, sheet: Path | None, point: str, channel: str, step_s: float | None, full_scale_v: float | None
) -> tuple[dict[str, Any], str]:
    """What a file of an oscilloscope shows, as JSON values and as text. Raises SettingError with a sentence."""
    from dashboard.scope_words import text
    from service.captures import Handed, shown_by
    from service.supply.fitout import read_fitout

    try:
        data = file.read_bytes()
    except OSError as error:
        raise SettingError(f"{file} cannot be read: {error.strerror}.") from None
    known = read_fitout(text_of(sheet)) if sheet else None
    answer = shown_by(Handed(data, file.name, point, channel, step_s, full_scale_v), known)
    return answer, text(answer, file.name)


def fitout(sheet: str, changes: Sequence[str], drawing: Path | None) -> tuple[dict[str, Any], str]:
    """A fit-out sheet ("-": standard input) checked, as data and as text, and drawn into a file. Raises SettingError."""
    from dashboard.fitout_plot import plot
    from service.supply.fitout import read_fitout
    from service.supply.fitout_rules import check
    from service.supply.fitout_told import told
    from service.supply.fitout_words import text_of_check

    try:
        given = sys.stdin.buffer.read() if sheet == "-" else Path(sheet).read_bytes()
        before = check(read_fitout(given)) if changes else None
        found = check(read_fitout(given, changes))
        if drawing:
            drawing.write_text(plot(found, before), encoding="utf-8")
    except OSError as error:
        raise SettingError(f"{error.filename} cannot be used: {error.strerror}.") from None
    return told(found, before, changes), text_of_check(found, before, changes)


def import_file(path: Path, settings: Settings) -> str:
    """Take a recording, or presses, into the record of a folder on which nothing runs; what became of it, in words."""
    from tqdm import tqdm

    from adapters import press_files_read
    from adapters.sql.kept_reader import kept_packs
    from adapters.sql.work import SqlStore
    from service import moving, recordings
    from service.intake import Understander

    with opened(path) as lines:
        if not path.is_file():
            raise SettingError(f"{path} is no file; it is read twice, which can only be done with one.")
        form = press_files_read.form_of(lines)
    count = 0
    if form != "recording":  # refused whole, before anything is taken
        with opened(path) as lines:
            count = moving.check(press_files_read.read(lines, form), settings.prefix, now_s())
    with ExitStack() as stack:
        take_folder(settings.data, stack)
        store = SqlStore(settings.url_of_record, settings.time_zone)
        stack.callback(store.close)
        lines = stack.enter_context(opened(path))
        understander = Understander(store, settings.prefix, settings.enrolment_open)
        kept = kept_packs(store.engine, refused=False)
        bar = partial(tqdm, desc="Importing", unit=" lines", ascii=" -", mininterval=0.5, disable=None)
        if form == "recording":
            return str(moving.take_in_recording(store, bar(recordings.read(lines)), kept, understander))
        told = press_files_read.read(lines, form)
        return str(moving.take_in_presses(store, bar(told, total=count), kept, understander, settings.prefix))


def export(form: str, asked: "Asked", target: Path | None, settings: Settings) -> str:
    """Write what is asked for as a recording, or the log in csv, jsonl or ics, into a file or to standard output, while
    the service runs or not; what was written, in words. Raises SettingError, NotFound."""
    from adapters import press_files
    from adapters.sql.kept_reader import kept_packs
    from adapters.sql.work import SqlStore
    from service import leaving

    if not settings.database_url and not (settings.data / "record.sqlite").exists():
        raise SettingError(f"There is no record in the folder {settings.data}; name another with --data.")
    with ExitStack() as stack:
        store = SqlStore(settings.url_of_record, settings.time_zone)
        stack.callback(store.close)
        reader, counted = store.reader(), leaving.Counted()
        leaving.check_asked(reader, asked)
        if form == "recording":
            parts = leaving.recording_of(kept_packs(store.engine, *asked), counted)
        elif form == "ics":
            parts = press_files.write_calendars(reader, asked, counted)
        else:
            write = {"csv": press_files.write_csv, "jsonl": press_files.write_jsonl}[form]
            parts = write(counted.all(leaving.entries(reader, asked, now_s())))
        write_out(parts, target)
        return str(counted)


def rebuild(settings: Settings) -> int:
    """Make everything that is derived anew from the kept packs, while the service runs or not; how many packs there were."""
    from tqdm import tqdm

    from adapters.sql.rebuilding import Rebuilding

    for _ in range(3):
        with ExitStack() as stack:
            rebuilding = Rebuilding(
                settings.url_of_record, settings.data / "rebuild.sqlite", settings.prefix, settings.enrolment_open
            )
            stack.callback(rebuilding.close)
            bar = stack.enter_context(
                tqdm(total=rebuilding.total(), desc="Rebuilding", unit=" packs", ascii=" -", mininterval=0.5)
            )
            while done := rebuilding.advance():
                bar.update(done)
            if rebuilding.exchange():
                return int(bar.n)
    raise SettingError(
        "The record changed three times while it was rebuilt; nothing of it was touched. Try again later."
    )
