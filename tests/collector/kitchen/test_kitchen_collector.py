"""The collector as its user runs it, with a server that is away, comes, and is read by another machine."""

import asyncio
import os
import subprocess
import sys

import aiomqtt
import pytest

from collector.errors import SettingsError
from collector.settings.load import parse
from tests.collector.kitchen.postgres import PASSWORD
from tests.waiting import WAIT_SECONDS


def told(*words, **environment):
    run = subprocess.run(
        [sys.executable, "-m", "tui.cli", *words], capture_output=True, text=True, env={**os.environ, **environment}
    )
    return run.returncode, run.stdout + run.stderr


async def send(port, first, last):
    async with aiomqtt.Client("127.0.0.1", port) as client:
        for k in range(first, last):
            await client.publish(f"pit/p{k % 8}", f"{110 + k / 100}", 1)


@pytest.mark.broker
async def test_a_collector_waits_for_its_server_and_then_brings_all(
    real_broker, collecting, pit_config, cluster, kitchen, tmp_path
):
    port = real_broker.start().port
    (tmp_path / "kitchen.password").write_text(PASSWORD + "\n")
    (tmp_path / "kitchen.password").chmod(0o600)
    table = f'[store]\nserver = "{kitchen.url}"\npassword_file = "kitchen.password"\n'
    cluster.kill()
    running = collecting(
        pit_config(port).replace('width = 50\nunit = "cm"\n', f'width = 50\nunit = "cm"\nname = "yard"\n{table}')
    )
    try:
        running.start()
        await running.up()
        await send(port, 0, 200)
        shown = await running.snapshot_when(
            lambda s: s.sources[0].heard == 200 and not s.store.unsaved and "no server" in s.store.kitchen.fault
        )
        assert shown.store.fault == "", "the pit's own file is written all the same"
        code, text = await asyncio.to_thread(told, "status", "--socket", str(running.socket))
        assert "kept here until its server takes it" in text
    finally:
        await asyncio.to_thread(cluster.start)
    await running.snapshot_when(lambda s: not s.store.kitchen.fault)
    await send(port, 200, 300)
    async with asyncio.timeout(WAIT_SECONDS):
        while (await kitchen.ask("SELECT count(*) FROM coldside.reading"))[0][0] < 300:
            await asyncio.sleep(0.1)
    assert running.stop() == 0
    assert PASSWORD not in (running.folder / "log").read_text()
    url = f"{kitchen.url}#yard"
    here = await asyncio.to_thread(told, "export", "last", "--store", str(running.store))
    there = await asyncio.to_thread(lambda: told("export", "last", "--store", url, PGPASSWORD=PASSWORD))
    assert here == there
    assert here[1].count("\n") >= 300
    code, text = await asyncio.to_thread(lambda: told("cooks", "--replay", "last", "--store", url, PGPASSWORD=PASSWORD))
    assert (code, "the same alarm log" in text) == (0, True), text
    code, text = await asyncio.to_thread(lambda: told("store", "pits", "--store", kitchen.url, PGPASSWORD=PASSWORD))
    assert "yard" in text
    code, text = await asyncio.to_thread(lambda: told("store", "check", "--store", kitchen.url))
    assert (code, "pg_dump" in text) == (74, True), text
    code, text = await asyncio.to_thread(lambda: told("cooks", "--store", kitchen.url, PGPASSWORD="not it"))
    assert (code, "password authentication failed" in text) == (74, True), text


@pytest.mark.parametrize(
    ("lines", "key", "word"),
    [
        ('server = "mysql://a@b/c"', "store.server", "PostgreSQL"),
        ('server = "postgresql://a:secret@b/c"', "store.server", "holds a password"),
        ('server = "postgresql://a@b/c?password=secret"', "store.server", "holds a password"),
        ('server = "postgresql://a@b"', "store.server", "names no database"),
        ('server = "postgresql://a@b:99999/c"', "store.server", "no address"),
        ('server = "postgresql://a@b/c#yard"', "store.server", "names a pit"),
        ('password_file = "p"', "store.password_file", "goes with server"),
        ('server = "postgresql://a@b/c"\npassword_file = "nowhere"', "store.password_file", "not there"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_the_server_is_told(pit_config, tmp_path, lines, key, word):
    with pytest.raises(SettingsError) as told:
        parse(pit_config(1883) + f"[store]\n{lines}\n", tmp_path / "coldside.toml")
    assert {p.key: word in p.what for p in told.value.problems} == {key: True}
    assert "secret" not in str(told.value)


def test_a_server_that_others_can_listen_in_on_is_warned_of(pit_config, tmp_path):
    for url, count in (("a@kitchen/c", 1), ("a@kitchen/c?sslmode=verify-full", 0), ("a@127.0.0.1/c", 0), ("/c", 0)):
        found = parse(pit_config(1883) + f'[store]\nserver = "postgresql://{url}"\n', tmp_path / "coldside.toml")
        assert sum("read along" in warning for warning in found.warnings) == count, url
