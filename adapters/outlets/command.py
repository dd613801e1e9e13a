"""Letters to a program of the owner's: the event on its standard input, never through a shell, within a time limit.

Only files in one folder can be called, which whoever runs the service has named; the API cannot put anything there. The program gets
none of the service's settings, which hold passwords. Knows nothing of what the program does.
"""

import json
import os
import signal
import subprocess
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryFile

from service.outbox_ports import Letter
from service.outlets import Command
from service.retries import Answer

PASSED_ON = ("HOME", "LANG", "LC_ALL", "LOGNAME", "PATH", "TMPDIR", "TZ", "USER")
"""Of the environment."""

ERROR_BYTES = 4096
"""Of what the program says on its standard error, the last line of which is kept."""


class CommandSender:
    """A `Sender`. Exit code 0: taken; any other, a signal or the end of the time: tried again.

    Parameters
    ----------
    folder : of programs; None: none may be called.
    """

    def __init__(self, way: Command, folder: Path | None) -> None:
        self._way, self._folder = way, folder

    def send(self, letters: Sequence[Letter], now_s: float) -> Answer:
        (letter,) = letters
        if self._folder is None:
            return Answer(False, "no folder of programs is named; set BELLCRANK_PROGRAMS", refused=True)
        program = self._folder / self._way.program
        if not program.is_file() or not os.access(program, os.X_OK):
            return Answer(False, f"{program} is no program that can be called", refused=True)
        event = json.dumps(letter.content, ensure_ascii=False).encode() + b"\n"
        kept = {name: os.environ[name] for name in PASSED_ON if name in os.environ}
        told = {"BELLCRANK_EVENT_ID": letter.key, "BELLCRANK_EVENT_TYPE": str(letter.content["type"])}
        try:
            return self._run([str(program), *self._way.arguments], event, kept | told)
        except OSError as error:
            return Answer(False, f"{program.name}: {error.strerror or error}", refused=True)

    def close(self) -> None:
        """There is nothing to close."""

    def _run(self, words: list[str], event: bytes, environment: dict[str, str]) -> Answer:
        # files instead of pipes: nobody waits for a program that does not read, or for what it has left running
        with TemporaryFile() as given, TemporaryFile() as said:
            given.write(event)
            given.seek(0)
            process = subprocess.Popen(  # noqa: S603 - a program of the owner's, from the owner's folder
                words,
                stdin=given,
                stdout=subprocess.DEVNULL,
                stderr=said,
                env=environment,
                cwd=self._folder,
                start_new_session=True,  # so that what it has started itself can be ended with it
            )
            try:
                code = process.wait(self._way.time_limit_s)
            except subprocess.TimeoutExpired:
                return Answer(False, f"ended after its {self._way.time_limit_s:g} s were over")
            finally:
                if process.returncode is None:
                    with suppress(ProcessLookupError):
                        os.killpg(process.pid, signal.SIGKILL)
                    process.wait()
            said.seek(max(said.seek(0, os.SEEK_END) - ERROR_BYTES, 0))
            lines = said.read(ERROR_BYTES).decode(errors="replace").strip().splitlines()
        how = f"exit code {code}" if code >= 0 else f"ended by signal {-code}"
        return Answer(code == 0, f"{how}: {lines[-1]}" if lines else how)
