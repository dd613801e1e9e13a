"""The examples in the docstrings about examinations hold."""

import doctest

from service.findings import kinds


def test_examples_hold() -> None:
    tried = doctest.testmod(kinds)
    assert (tried.failed, tried.attempted) == (0, 1)
