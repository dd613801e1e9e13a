"""The examples in the docstrings of the dashboard hold."""

import doctest
from types import ModuleType

import pytest

from dashboard import finding_list, placing, quantities, rail_chart, words


@pytest.mark.parametrize(
    "module", [finding_list, placing, quantities, rail_chart, words], ids=lambda module: module.__name__
)
def test_examples_hold(module: ModuleType) -> None:
    tried = doctest.testmod(module)
    assert tried.attempted > 0
    assert tried.failed == 0
