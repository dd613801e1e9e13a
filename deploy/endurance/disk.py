"""A small disk for the record alone, which can be filled to the last octet.

A file system in memory where it may be mounted. Where not (a container without that right), the service is forbidden to write files
(RLIMIT_FSIZE), which looks to it like a disk that takes nothing more. Knows no database.
"""

import contextlib
import os
import resource
import shutil
import subprocess
from pathlib import Path

SIZE = "160m"
"""Half an hour of twenty chimes takes some 40 MB, its write-ahead log as much again at times."""


class Disk:
    """`folder` is empty, and becomes the disk."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        mount = ["mount", "-t", "tmpfs", "-o", f"size={SIZE},mode=700", "record", str(folder)]
        self.mounted = subprocess.run(mount, capture_output=True, check=False).returncode == 0
        self.folder, self.full = folder, False
        self._filler, self._writer = folder / "filler", 0

    def writer(self, process: int) -> None:
        """The service runs as this process now."""
        self._writer = process
        if self.full and not self.mounted:
            self._forbid(True)

    def fill(self) -> None:
        self.full = True
        if not self.mounted:
            self._forbid(True)
            return
        with self._filler.open("wb", buffering=0) as filler, contextlib.suppress(OSError):
            while True:
                filler.write(bytes(65536))
        with self._filler.open("ab", buffering=0) as filler, contextlib.suppress(OSError):
            while True:
                filler.write(bytes(512))

    def free(self) -> None:
        self.full = False
        if self.mounted:
            self._filler.unlink(missing_ok=True)
        else:
            self._forbid(False)

    def remove(self, copy: Path) -> None:
        """What is on it is left in `copy`."""
        shutil.copytree(self.folder, copy)
        if self.mounted:
            subprocess.run(["umount", "--lazy", str(self.folder)], capture_output=True, check=False)

    def _forbid(self, forbidden: bool) -> None:
        if self._writer and hasattr(resource, "prlimit"):
            with contextlib.suppress(ProcessLookupError):
                _, hard = resource.prlimit(self._writer, resource.RLIMIT_FSIZE)
                resource.prlimit(self._writer, resource.RLIMIT_FSIZE, (0 if forbidden else hard, hard))


def namespace() -> list[str]:
    """The words before a command that give it mounts of its own, gone with it; none where that is not allowed."""
    words = ["unshare", "--mount"] if os.geteuid() == 0 else ["unshare", "--user", "--map-root-user", "--mount"]
    with contextlib.suppress(FileNotFoundError):
        if subprocess.run([*words, "true"], capture_output=True, check=False).returncode == 0:
            return words
    return []
