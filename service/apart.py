"""Work in a process of its own: what it takes of memory and time is gone with it, and pages and packs wait for nothing.

`python -m service.apart` is the other process. It gets a function of a module and its arguments, and answers with the result or
what was raised, pickled both ways: between the two halves of one program. Knows nothing of the work.
"""

import pickle
import subprocess
import sys
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


def apart(work: Callable[..., T], *arguments: object) -> T:
    """What `work` answers. Raises what it raises; RuntimeError where the process ended without an answer."""
    done = subprocess.run(
        [sys.executable, "-P", "-m", "service.apart"],
        input=pickle.dumps((work, arguments)),
        stdout=subprocess.PIPE,
        start_new_session=True,  # Ctrl-C is meant for the service, which waits for this
    )
    if done.returncode:
        raise RuntimeError(f"the process for {work.__name__} ended with exit code {done.returncode}")
    worked, answer = pickle.loads(done.stdout)  # noqa: S301 - written by `main` below
    if worked:
        return answer  # type: ignore[no-any-return]
    raise answer


def main() -> None:
    work, arguments = pickle.load(sys.stdin.buffer)  # noqa: S301 - written by `apart` above
    try:
        answer = (True, work(*arguments))
    except Exception as error:  # noqa: BLE001 - raised again where the work was asked for
        answer = (False, error)
    sys.stdout.buffer.write(pickle.dumps(answer))


if __name__ == "__main__":
    main()
