"""The report of the evening, for all of its tests."""

import pytest

from collector.report.facts import tell


@pytest.fixture(scope="session")
def told(evening):
    """Give its report."""
    return tell(evening[1])
