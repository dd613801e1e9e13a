"""Runs the parts together: each in a thread, the page in the main one. The first to die ends the process loudly.

Parts stop in reverse order of their start. Knows what a part is, and nothing about any of them.
"""

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

log = logging.getLogger(__name__)

STOP_WITHIN_S = 10.0


@dataclass(frozen=True, slots=True)
class Part:
    """`run` blocks until `stop` is called from another thread."""

    name: str
    run: Callable[[], None]
    stop: Callable[[], None]


def run_together(parts: Sequence[Part], states: dict[str, str]) -> None:
    """Run all but the last part in threads, the last one here; return when it ends, after stopping the rest.

    `states` follows each part: "running", "stopped". Raises RuntimeError naming the part that died, with its error as cause.
    """
    died: list[tuple[str, BaseException]] = []
    ending = threading.Event()
    *behind, front = parts

    def guarded(part: Part) -> None:
        try:
            part.run()
        except BaseException as error:  # noqa: BLE001 - answered: it ends the process, below
            died.append((part.name, error))
        finally:
            states[part.name] = "stopped"
            if not ending.is_set():
                if not died:
                    died.append((part.name, RuntimeError("it returned though nobody had stopped it")))
                front.stop()

    threads: list[tuple[Part, threading.Thread]] = []
    try:
        for part in behind:
            states[part.name] = "running"
            thread = threading.Thread(target=guarded, args=(part,), name=part.name, daemon=True)
            thread.start()
            threads.append((part, thread))
        states[front.name] = "running"
        front.run()
    finally:
        ending.set()
        states[front.name] = "stopped"
        for part, thread in reversed(threads):
            part.stop()
            thread.join(STOP_WITHIN_S)
            if thread.is_alive():
                log.warning("%s did not stop within %g s", part.name, STOP_WITHIN_S)
    if died:
        name, error = died[0]
        raise RuntimeError(f"{name} died: {type(error).__name__}: {error}") from error
