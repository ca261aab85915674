"""`coldside alarms` against a real collector: what is listed, done, refused, on record and played again."""

import asyncio
import json
import re
from pathlib import Path

import pytest
from msgspec.structs import replace

import sample_streams
from adapters.reading import Reading
from collector.daemon import Collector
from collector.model.plan import DEFAULT_RULES
from collector.replay import differences
from collector.store.archive import Archive
from tui.cli import main
from tui.draw.summary import status_lines
from tui.draw.view import View
from tui.exit_codes import Exit
from tui.nights import night_settings

START = 1_790_000_000.0


def rules():
    """The spread switched off, silence latching and shelved for ten minutes at most, the battery never shelved."""
    changed = {
        "spread": {"enabled": False},
        "source-silent": {"shelve_at_most_seconds": 600.0, "latch": True},
        "battery-low": {"shelve_at_most_seconds": 0.0},
    }
    return tuple(replace(rule, **changed.get(rule.name, {})) for rule in DEFAULT_RULES)


PLAN = replace(night_settings().plan, rules=rules())
PROBES = [p.name for p in PLAN.probes]
SOURCE = PLAN.probes[0].source


class Pit:
    """A collector whose time the test moves; probes are heard only when it says so."""

    def __init__(self, folder):
        self.store, self.socket = folder / "s.db", folder / "c.sock"
        self.collector = Collector(PLAN, [], self.store, self.socket, cook="n", playback=True, start_unix=START)

    def hear(self, at):
        for probe in PLAN.probes:
            self.collector._pipeline.take(Reading(probe.source, probe.key, 20.0, START + at))

    def pass_until(self, at):
        self.collector._pipeline.advance(START + at)

    async def start(self):
        self._running = asyncio.create_task(self.collector.run())
        await self.collector.ready.wait()

    async def stop(self):
        self.collector.stop()
        assert await self._running == 0

    @property
    def states(self):
        return {a.key: str(a.state) for a in self.collector.snapshot().alarms}


@pytest.fixture
async def pit(tmp_path):
    made = Pit(tmp_path)
    await made.start()
    yield made
    await made.stop()


@pytest.fixture
def said(pit, capsys):
    """Run the command as a person does; give exit code, output and errors."""

    async def run(*words):
        where = ["--store", str(pit.store)] if words and words[0] in ("journal", "measures") else []
        where = where or ["--socket", str(pit.socket)]
        code = await asyncio.to_thread(main, ["alarms", *words, *where, "--unit", "C"])
        told = capsys.readouterr()
        return code, told.out, told.err

    return run


async def test_every_rule_is_listed_with_what_is_left_and_what_holds_it_back(pit, said):
    pit.hear(0.0)
    pit.pass_until(30.0)
    code, out, _ = await said()
    assert code == Exit.OK
    lines = out.splitlines()
    assert lines[0].split() == ["alarm", "priority", "state", "now", "limit", "left", "delay", "on,", "off"]
    silent = next(line for line in lines if line.startswith(f"probe-silent/{PROBES[0]} "))
    assert "30 s" in silent
    assert "1 min" in silent
    spread = next(k for k, line in enumerate(lines) if line.startswith("spread/grate"))
    assert "switched off" in lines[spread]
    assert "enabled = true in [alarm.spread]" in lines[spread + 1]
    drift = next(k for k, line in enumerate(lines) if line.startswith("drift/fading fire"))
    assert "suppressed by design: the grate has not reached its band yet" in lines[drift + 1]
    code, out, _ = await said("--json")
    document = json.loads(out)
    told = {r["key"]: r for r in document["rules"]}
    assert document["exit"] == code == Exit.OK
    assert set(told) == set(pit.collector._pipeline.engine._rules.alarms)
    assert told[f"probe-silent/{PROBES[0]}"]["distance"] == PLAN.probes[0].stale_seconds - 30.0
    assert told["spread/grate"]["enabled"] is False
    assert told["cold-spot/flat side"]["suppressed"] == ["the pit is cold"]


async def test_a_dead_source_is_one_trouble_seen_by_its_key_and_a_replay_does_the_same(pit, said):
    pit.hear(0.0)
    pit.pass_until(1000.0)
    (trouble,) = pit.collector.snapshot().troubles
    assert trouble.key == f"source/{SOURCE}"
    assert trouble.title == f"source {SOURCE} is silent: {len(PROBES)} probes"
    assert (await said())[0] == Exit.ALARM
    assert (await said("ack", "probe/nobody"))[0] == Exit.FAILED
    assert (await said("ack"))[:2] == (Exit.OK, "acknowledged: all alarms\n")
    assert (await said("ack", trouble.key))[2] == (
        f"coldside: {trouble.key} is acknowledged: there is nothing to acknowledge\n"
    )
    pit.hear(1001.0)
    pit.pass_until(1400.0)
    assert set(pit.states.values()) == {"unacknowledged"}, "heard again, latched, and gone anew"
    assert (await said("ack", "cold"))[2] == "coldside: cold does not stand now\n"
    assert await said("ack", trouble.key) == (Exit.OK, f"acknowledged: {trouble.key}\n", "")
    assert set(pit.states.values()) == {"acknowledged"}
    assert (await said())[0] == Exit.OK
    pit.hear(1600.0)
    pit.hear(1630.0)
    pit.pass_until(1660.0)
    assert set(pit.states.values()) == {"latched acknowledged"}
    assert "latched, wants a reset" in (await said())[1]
    key = f"source-silent/{SOURCE}"
    assert (await said("reset", key))[1] == f"reset: {key}\n"
    assert key not in pit.states
    pit.hear(1700.0)
    await pit.stop()
    with Archive(pit.store) as archive:
        cook = archive.cook("last")
        assert differences(archive, cook) == []
        steps = archive.alarm_log(cook)
        state = "normal"
        for step in steps:
            if step.key == key:
                assert step.before == state
                state = step.after


async def test_what_a_person_does_is_shown_bounded_and_on_record(pit, said):
    pit.hear(0.0)
    pit.pass_until(400.0)
    key = f"source-silent/{SOURCE}"
    code, _, err = await said("shelve", key, "--for", "11m")
    assert code == Exit.FAILED
    assert (
        err == f"coldside: {key} may be shelved for at most 10 min: shelve_at_most in [alarm.source-silent] says so\n"
    )
    assert (await said("shelve", f"battery-low/{SOURCE}"))[2].endswith("may not be shelved: its config says so\n")
    assert (await said("shelve", key, "--for", "5m"))[1] == f"shelved for 5 min: {key}\n"
    assert pit.states[key] == "shelved"
    assert (await said("unshelve", key))[0] == Exit.OK
    assert (await said("unshelve", key))[2] == f"coldside: {key} is normal: only what is shelved is taken back\n"
    assert (await said("remove", "drift/fading fire"))[0] == Exit.OK
    assert pit.states["drift/fading fire"] == "out of service"
    status = status_lines(pit.collector.snapshot(), View())
    assert any(line.startswith("alarm       out of service: drift fading fire, since ") for line in status)
    assert "out of service since" in (await said())[1]
    assert (await said("remove", "drift/fading fire"))[
        2
    ] == "coldside: drift/fading fire is out of service: it is out already\n"
    pit.pass_until(1000.0)
    assert (await said("restore", "drift/fading fire"))[0] == Exit.OK
    assert "set enabled = true in [alarm.spread]" in (await said("restore", "spread/grate"))[2]
    code, out, _ = await said("restore", "drift/nowhere", "--json")
    document = json.loads(out)
    assert (code, document["done"], "coldside alarms" in document["why"]) == (Exit.FAILED, False, True)
    pit.hear(1100.0)
    await pit.stop()
    code, out, _ = await said("journal")
    assert code == Exit.OK
    assert re.search(r"drift/fading fire +suppressed by design -> out of service", out)
    assert "suppressed by design\n" not in out
    everything = (await said("journal", "n", "--all"))[1]
    assert len(everything.splitlines()) > len(out.splitlines())
    steps = json.loads((await said("journal", "--json"))[1])["steps"]
    assert {"event": "shelve", "after": "shelved"}.items() <= next(s for s in steps if s["event"] == "shelve").items()
    told = json.loads((await said("measures", "--json"))[1])["measures"]
    assert told["removed_seconds"] == pytest.approx(600.0)
    assert told["priorities"]["soon"] == told["alarms"] == 2, "the source, and again after its shelf"
    out = (await said("measures"))[1]
    assert "alarms        2 in 0.3 h" in out
    with Archive(pit.store) as archive:
        assert differences(archive, archive.cook("n")) == []


@pytest.mark.parametrize(
    "words",
    [
        ["shelve"],
        ["shelve", "drift/fading fire", "--for", "soon"],
        ["shelve", "drift/fading fire", "--for", "0m"],
        ["nonsense"],
    ],
)
def test_wrong_words_are_told(words):
    with pytest.raises(SystemExit) as left:
        main(["alarms", *words])
    assert left.value.code == Exit.USAGE


def test_without_a_collector_or_a_store_it_says_so(tmp_path, capsys):
    assert main(["alarms", "--socket", str(tmp_path / "no.sock"), "--json"]) == Exit.NO_COLLECTOR
    assert json.loads(capsys.readouterr().out)["exit"] == Exit.NO_COLLECTOR
    assert main(["alarms", "measures", "--store", str(tmp_path / "no.db")]) == Exit.STORE


@pytest.mark.parametrize(
    "words", [["alarms", "journal"], ["alarms", "measures"], ["cooks"], ["export"], ["store", "check"]]
)
def test_the_store_that_the_config_names_is_read(words, tmp_path, capsys):
    config = tmp_path / "pit.toml"
    text = (Path(sample_streams.__file__).parent / "pit.toml").read_text().replace("quiet-night.sensml.xz", "n.xz")
    (tmp_path / "n.xz").touch()
    config.write_text(f'[store]\npath = "{tmp_path / "elsewhere.db"}"\n{text}')
    more = ["last"] if words == ["export"] else []
    assert main([*words, *more, "-c", str(config)]) == Exit.STORE
    assert f"{tmp_path / 'elsewhere.db'}: there is no store here" in capsys.readouterr().err
