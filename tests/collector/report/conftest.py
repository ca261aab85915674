"""The evening of the report's tests, recorded and played once for all workers."""

import fcntl
import os
import pickle

import pytest

from collector.report.facts import tell
from collector.report.played import play
from collector.store.archive import Archive
from tests.collector.report.evening import cook


@pytest.fixture(scope="session")
def evening(tmp_path_factory):
    """Give the store of the evening, and the cook as its report takes it."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "evening"
    folder.mkdir(exist_ok=True)
    store, kept = folder / "evening.db", folder / "evening.played"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            cook(store)
            with Archive(store) as archive:
                kept.write_bytes(pickle.dumps(play(archive, archive.cook("last"))))
    return store, pickle.loads(kept.read_bytes())


@pytest.fixture(scope="session")
def told(evening):
    """Give its report."""
    return tell(evening[1])
