import pytest

from tests.collector.kitchen.postgres import PASSWORD, Cluster


@pytest.fixture(scope="session")
def cluster():
    made = Cluster().make()
    yield made
    made.end()


@pytest.fixture
async def kitchen(cluster, monkeypatch):
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    return await cluster.database()
