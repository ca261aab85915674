"""Channels, people and ladders of a config: every mistake with its line and its mend, and what they come to."""

import sys

import pytest

from adapters.mqtt.options import BrokerAddress
from collector.calls.escalation import Ladder, Person, Quiet, Step
from collector.calls.options import AppriseTo, BellTo, CommandTo, MqttTo, WebhookTo, calling_of
from collector.errors import SettingsError
from collector.settings.load import parse
from collector.snapshot import Priority

PIT = """
[chamber]
length = 120
width = 50
unit = "cm"
[cook]
target = "113 C"
[[source]]
name = "house"
kind = "mqtt"
host = "broker.home"
subscribe = [{ filter = "pit/+" }]
[[probe]]
name = "flat"
source = "house"
x = 20
y = 25
"""
PUSH = """
[[channel]]
name = "push"
kind = "webhook"
url_file = "push.url"
"""
ANN = """
[[person]]
name = "Ann"
channels = ["push"]
"""


@pytest.fixture
def read(tmp_path):
    """Read a pit with this behind it; secrets lie beside it."""
    for name, text in (("push.url", "https://push.home/s3cret\n"), ("many.url", "json://a\njson://b\n")):
        (tmp_path / name).write_text(text)
        (tmp_path / name).chmod(0o600)
    return lambda text: parse(PIT + text, tmp_path / "c.toml")


def test_two_secrets_of_one_name_would_be_handed_over_as_one(read, tmp_path):
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "url").write_text("https://push.home/x\n")
        (tmp_path / folder / "url").chmod(0o600)
    text = PUSH.replace("push.url", "a/url") + ANN + '[heartbeat]\nurl_file = "b/url"\n'
    ((_, what),) = mistakes(read, text)
    assert "are named url" in what


def mistakes(read, text):
    with pytest.raises(SettingsError) as caught:
        read(text)
    return {(p.key, p.what) for p in caught.value.problems}


def test_without_a_ladder_everybody_is_told_urgent_at_0_2_5_and_every_10_minutes_the_next_hourly(read, tmp_path):
    settings = read(PUSH + ANN + 'quiet = "22:30-06:00"\n')
    calling = calling_of(settings.config, tmp_path)
    assert calling.people == (Person("Ann", ("push",), Quiet(22 * 60 + 30, 360)),)
    assert calling.ladders == (
        Ladder(frozenset({Priority.URGENT}), tuple(Step(60.0 * m, ("Ann",)) for m in (0, 2, 5)), 600.0),
        Ladder(frozenset({Priority.SOON}), (Step(0.0, ("Ann",)),), 3600.0),
    )
    assert calling.channels == {"push": WebhookTo("https://push.home/s3cret")}
    assert calling.fahrenheit
    assert calling_of(read("").config, tmp_path) is None


def test_every_kind_of_channel_and_a_ladder_of_ones_own(read, tmp_path):
    text = (
        PUSH
        + f"""
[[channel]]
name = "lamp"
kind = "command"
command = ["{sys.executable}", "-V"]
[[channel]]
name = "topic"
kind = "mqtt"
host = "broker.home"
topic = "house/call"
[[channel]]
name = "services"
kind = "apprise"
url_file = "many.url"
[[channel]]
name = "bell"
kind = "bell"
[publish]
host = "broker.home"
base = "house/pit"
acknowledge = true
[[person]]
name = "Ann"
channels = ["push", "lamp", "topic"]
[[person]]
name = "Ben"
channels = ["services", "bell"]
[[ladder]]
priorities = ["urgent", "check"]
steps = [{{ after = 0, tell = ["Ann"] }}, {{ after = 2.5, tell = ["Ann", "Ben"] }}]
repeat = 5
"""
    )
    calling = calling_of(read(text).config, tmp_path)
    assert calling.channels == {
        "push": WebhookTo("https://push.home/s3cret"), "lamp": CommandTo((sys.executable, "-V")),
        "topic": MqttTo(BrokerAddress("broker.home", 1883), "house/call"), "services": AppriseTo(("json://a", "json://b")),
        "bell": BellTo(),
    }  # fmt: skip
    steps = (Step(0.0, ("Ann",)), Step(150.0, ("Ann", "Ben")))
    assert calling.ladders == (Ladder(frozenset({Priority.URGENT, Priority.SOON}), steps, 300.0),)
    assert calling.acknowledge_topic == "house/pit/acknowledge"


@pytest.mark.parametrize(
    ("text", "key", "says"),
    [
        (ANN, "person.1.channels", "no channel 'push'; add a [[channel]] of that name"),
        (PUSH + ANN + ANN, "person.2.name", "number 1 is named so too"),
        (PUSH + PUSH + ANN, "channel.2.name", "number 1 is named so too"),
        (PUSH + ANN + 'quiet = "22:30"\n', "person.1.quiet", 'such as "22:30-06:00"'),
        (PUSH + ANN + 'quiet = "25:00-06:00"\n', "person.1.quiet", "24-hour clock"),
        (PUSH.replace("webhook", "pager"), "channel.1.kind", "'pager' is no kind of channel"),
        (PUSH.replace("push.url", "none.url"), "channel.1.url_file", "is not there"),
        (PUSH.replace("push.url", "many.url"), "channel.1.url_file", "its one line begins with https://"),
        (
            PUSH + ANN + '[[ladder]]\npriorities = ["urgent"]\nsteps = [{ after = 0, tell = ["Cyd"] }]\n',
            "ladder.1.steps", "there is no person 'Cyd'; there is Ann",
        ),
        (
            PUSH + ANN + '[[ladder]]\npriorities = ["urgent"]\nsteps = [{ after = 0, tell = [] }]\n',
            "ladder.1.steps", "nobody is told at the last step",
        ),
        (
            PUSH + ANN + '[[ladder]]\npriorities = ["check"]\nsteps = [{ after = 0, tell = ["Ann"] }]\n',
            "ladder.1.priorities", "nobody would be woken",
        ),
        (
            PUSH + ANN + '[[ladder]]\npriorities = ["urgent"]\n'
            'steps = [{ after = 5, tell = ["Ann"] }, { after = 1, tell = ["Ann"] }]\n',
            "ladder.1.steps", "in the order of their times",
        ),
        (
            PUSH + ANN + 2 * '[[ladder]]\npriorities = ["urgent"]\nsteps = [{ after = 0, tell = ["Ann"] }]\n',
            "ladder.2.priorities", "only the first counts",
        ),
        (
            '[[channel]]\nname = "lamp"\nkind = "command"\ncommand = ["/nowhere/lamp"]\n',
            "channel.1.command", "no program that can be run",
        ),
        (
            '[[channel]]\nname = "t"\nkind = "mqtt"\nhost = "broker.home"\ntopic = "pit/call"\n',
            "channel.1.topic", "would take it for a reading",
        ),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_mend(read, text, key, says):
    found = mistakes(read, text)
    assert [what for where, what in found if where == key and says in what], found


def test_an_address_that_others_can_read_is_refused_and_apprise_that_is_missing_is_told(read, tmp_path, monkeypatch):
    (tmp_path / "push.url").chmod(0o644)
    ((key, what),) = mistakes(read, PUSH + ANN)
    assert (key, "chmod 600" in what, "s3cret" in what) == ("channel.1.url_file", True, False)
    handed = tmp_path / "handed"
    handed.mkdir()
    (handed / "push.url").write_text("https://push.home/s3cret\n")
    (handed / "push.url").chmod(0o440)
    with monkeypatch.context() as service:
        service.setenv("CREDENTIALS_DIRECTORY", str(handed))
        read(PUSH + ANN)
    (tmp_path / "push.url").chmod(0o600)
    monkeypatch.setattr("collector.settings.calling.find_spec", lambda name: None)
    found = mistakes(read, PUSH.replace("webhook", "apprise") + ANN)
    assert (
        "channel.1.kind",
        "Apprise is not installed; install coldside[notify], or use another kind of channel",
    ) in found


def test_a_channel_of_nobody_is_warned_of_and_a_broken_channel_is_told_once(read):
    assert any("belongs to no [[person]]" in warning for warning in read(PUSH).warnings)
    broken = mistakes(read, PUSH.replace('url_file = "push.url"\n', "") + ANN)
    assert broken == {("channel.1.url_file", "is missing")}
