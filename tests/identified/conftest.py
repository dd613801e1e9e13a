"""The rails of all houses, run by ngspice once a session."""

from pathlib import Path

import numpy as np
import pytest

from service.supply.unknowns import Kind
from tests.identified.rails import HOUSES, rails


@pytest.fixture(scope="session")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> list[dict[Kind, np.ndarray]]:
    def one(house: int) -> dict[Kind, np.ndarray]:
        folder: Path = tmp_path_factory.mktemp(f"house{house}")
        return rails(HOUSES[house], folder)

    return [one(number) for number in range(len(HOUSES))]
