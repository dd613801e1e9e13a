"""Promise: work in a process of its own answers, and fails, as if it were done here."""

import os

import pytest

from service import apart
from service.errors import BadPack, NotFound
from service.pack import decode


def test_it_answers_what_the_work_answers() -> None:
    assert apart.apart(os.path.join, "a", "b") == "a/b"


def test_it_is_another_process() -> None:
    assert apart.apart(os.getpid) != os.getpid()


def test_it_raises_what_the_work_raises() -> None:
    with pytest.raises(BadPack, match="JSON"):
        apart.apart(decode, b"{not SenML", None, 0.0)


def test_an_error_with_words_comes_back_with_them() -> None:
    error = NotFound("no chime 'hall' has been heard")
    with pytest.raises(NotFound, match="no chime 'hall'"):
        apart.apart(_raising, error)


def test_a_process_that_dies_is_an_error() -> None:
    with pytest.raises(RuntimeError, match="exit code 7"):
        apart.apart(os._exit, 7)


def _raising(error: Exception) -> None:
    raise error
