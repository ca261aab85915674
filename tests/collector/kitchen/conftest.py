import pytest

from tests.collector.kitchen.postgres import PASSWORD, Cluster, binaries


@pytest.fixture(scope="session")
def cluster():
    if binaries() is None:
        pytest.skip("needs a real PostgreSQL (apt install postgresql)")
    made = Cluster().make()
    yield made
    made.end()


@pytest.fixture
async def kitchen(cluster, monkeypatch):
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    return await cluster.database()
