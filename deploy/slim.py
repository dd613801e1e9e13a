"""Compiles the packages of this environment without docstrings, assertions and column tables: the service needs some 6 MB less.

`deploy/run` calls it once after installing. Bellcrank itself is left as it is: the API's description is made from its docstrings.
"""

import sysconfig
from importlib.util import cache_from_source
from pathlib import Path
from py_compile import PyCompileError, compile


def main() -> None:
    for source in Path(sysconfig.get_path("purelib")).rglob("*.py"):
        try:
            compile(str(source), cache_from_source(str(source)), doraise=True, optimize=2)
        except PyCompileError:  # files that packages bring along for other Pythons
            continue


if __name__ == "__main__":
    main()
