"""The host's clock as the service sees it: stepped by libfaketime (Debian's package `faketime`), while the monotonic clocks stay true.

Everything else on the machine keeps the right time. Where libfaketime is not installed, the clock is never stepped.
"""

import os
from pathlib import Path

HERE = Path(__file__).parent


def libfaketime() -> Path | None:
    """The library for programs with threads, where it is installed."""
    found = [
        *Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"),
        *Path("/usr/lib/faketime").glob("libfaketimeMT.so.1"),
    ]
    return found[0] if found else None


class Clock:
    """`file` is where libfaketime reads how wrong the clock is."""

    def __init__(self, file: Path) -> None:
        self._file, self._library = file, libfaketime()
        self.wrong_s = 0.0
        self.step(0.0)

    @property
    def can_step(self) -> bool:
        return self._library is not None

    def step(self, wrong_s: float) -> None:
        """From now on the clock is wrong by so much [s], for whoever runs in `environment`."""
        fresh = self._file.with_suffix(".new")
        fresh.write_text(f"{wrong_s:+.0f}\n")
        os.replace(fresh, self._file)  # never read half
        self.wrong_s = wrong_s

    def environment(self) -> dict[str, str]:
        if self._library is None:
            return {}
        return {
            "LD_PRELOAD": str(self._library),
            "FAKETIME_TIMESTAMP_FILE": str(self._file),
            "FAKETIME_NO_CACHE": "1",  # a step is seen at once
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "FAKETIME_FORCE_MONOTONIC_FIX": "0",  # else timed waits return at once, and ten times the processor is burnt
            "NO_FAKE_STAT": "1",  # else all compiled modules look out of date
        }

    def forget(self, process: int) -> None:
        """Take away what libfaketime leaves of a process that was killed."""
        for name in (f"faketime_shm_{process}", f"sem.faketime_sem_{process}"):
            Path("/dev/shm", name).unlink(missing_ok=True)

    def search_path(self) -> list[str]:
        """To stand first on the module path of a Python that runs in `environment`."""
        return [] if self._library is None else [str(HERE / "stepped")]
