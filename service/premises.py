"""The folder and the ports a process needs, checked before anything starts, and the words that say where everything is."""

import fcntl
import os
import socket
import sys
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import IO

from service.errors import SettingError
from service.settings import Settings


def take_folder(data: Path, stack: ExitStack) -> None:
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


def check_free(address: str, port: int, option: str) -> None:
    """Raises SettingError where nothing could listen there; `option` is what would choose another port."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except OSError as error:
            raise SettingError(
                f"Port {port} on {address} cannot be used ({error.strerror}); choose another with {option}."
            ) from None


def say_where(settings: Settings, broker_url: str, record: str, demo: bool) -> None:
    """Tell the person who started this where to look, and who else can."""
    shown = "localhost" if is_loopback(settings.listen) else settings.listen
    lines = [
        f"Look at        http://{shown}:{settings.http_port}/",
        f"Chimes send to {broker_url}, topic {settings.prefix}/1/<site>/<chime>/pack",
        f"The record     {record}",
    ]
    if demo:
        lines.append("Press a button bellcrank press front --for 0.4   (.venv/bin/bellcrank from the checkout)")
    if is_loopback(settings.listen):
        lines.append("Only this machine can see the page: there are no accounts yet. --listen opens it to the network.")
    else:
        lines.append("Everybody on the network can see and change everything: there are no accounts yet.")
    print("\n".join(lines), flush=True)


def opened(path: Path) -> IO[str]:
    """A file somebody named on the command line. Raises SettingError. Bytes that are no UTF-8 are for its reader to refuse."""
    try:
        return path.open(encoding="utf-8", errors="surrogateescape")
    except OSError as error:
        raise SettingError(f"{path} cannot be read: {error.strerror}.") from None


def write_out(parts: Iterable[bytes], path: Path | None) -> None:
    """Into a file, which is there when all of it is; or to standard output, until nobody reads it any more. Raises SettingError."""
    if path is None:
        try:
            sys.stdout.buffer.writelines(parts)
            sys.stdout.buffer.flush()
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or Python would complain at its end
        return
    special = path.exists() and not path.is_file()  # a device or a pipe, which nothing may take the place of
    unfinished = path if special else path.with_name(f"{path.name}.unfinished")
    try:
        with unfinished.open("wb") as file:
            file.writelines(parts)
        if not special:
            unfinished.replace(path)
    except OSError as error:
        raise SettingError(f"{path} cannot be written: {error.strerror}.") from None
    finally:
        if not special:
            unfinished.unlink(missing_ok=True)


def text_of(path: Path) -> str:
    with opened(path) as lines:
        return lines.read()


def is_loopback(address: str) -> bool:
    return address in ("localhost", "::1") or address.startswith("127.")
