"""One draw of installations a session, and what the judge says of each beside its commissioning record."""

import pytest

from service.findings.judge import judge
from service.findings.verdict import Verdict
from tests.judged.invented import Case, drawn


@pytest.fixture(scope="session")
def cases(tmp_path_factory: pytest.TempPathFactory) -> list[Case]:
    return drawn(tmp_path_factory.mktemp("drawn"), seed=3)


@pytest.fixture(scope="session")
def verdicts(cases: list[Case]) -> dict[str, Verdict]:
    return {case.name: judge(case.now, case.commissioning, case.sheet) for case in cases}
