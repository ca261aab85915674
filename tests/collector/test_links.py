"""Links that acknowledge: no token but our own is taken, each once, and no robot that follows a link does anything."""

import asyncio
import base64
import contextlib
import dataclasses
import datetime as dt
import json
import re
import sqlite3
import stat
import sys

import aiomqtt
import msgspec
import pytest
from aiohttp import web
from hypothesis import example, given
from hypothesis import strategies as st

from adapters.mqtt.options import BrokerAddress
from adapters.reading import Reading
from collector.calls.channels import Command
from collector.calls.escalation import Ladder, Person, Step
from collector.calls.link import TOKEN_CHARACTERS, VALID_MS, Claim, Links
from collector.calls.options import Calling, CommandTo, MqttTo, WebhookTo
from collector.calls.tap import Taps
from collector.daemon import Collector
from collector.errors import TokenError
from collector.paths import link_key_file
from collector.replay import differences
from collector.serve import throttle
from collector.serve.address import Listen
from collector.serve.link_key import link_key
from collector.serve.service import ServeOptions
from collector.serve.throttle import MOST_A_MINUTE
from collector.settings.load import parse
from collector.snapshot import AlarmState, Priority
from collector.store.archive import Archive
from tests.collector.chromium import browser, chromium
from tests.collector.conftest import config_text
from tests.collector.house import certify, session
from tests.collector.test_outbox import CALLING, COLD, SOON, START, House
from tests.collector.test_page import LEGIBLE
from tests.collector.test_serve import mistake
from tests.conftest import free_port
from tests.waiting import WAIT_SECONDS
from tui.cli import main
from tui.nights import night_settings

KEY = bytes(range(32))
LINKS = Links("https://pit.example:8765", KEY, "first frost")
ANN = Claim(7, "Ann", "push", 1_750_043_200_000)
TOLD = (("Ann", "push"), ("Ben", "push"), ("Ben", "mail"))
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"


# ---- tokens


def test_a_link_is_short_enough_for_a_text_message_and_says_nothing_of_whom_it_is_for():
    link = LINKS.link(
        msgspec.structs.replace(ANN, person="Otis from next door" * 3, channel="the light in the hallway")
    )
    assert link.startswith("https://pit.example:8765/acknowledge#")
    assert len(link) < 160
    assert len(link.partition("#")[2]) == TOKEN_CHARACTERS
    assert LINKS.claim(LINKS.token(ANN), TOLD) == ANN
    assert repr(KEY) not in repr(LINKS)


@given(
    st.integers(0, 2**32 - 1), st.sampled_from(TOLD), st.integers(0, 2**48 - 1), st.integers(0, 41), st.integers(1, 255)
)
def test_a_token_of_which_any_byte_was_changed_is_none(call, who, until_ms, place, change):
    claim = Claim(call, *who, until_ms)
    token = LINKS.token(claim)
    assert LINKS.claim(token, TOLD) == claim
    raw = bytearray(base64.urlsafe_b64decode(token))
    raw[place] ^= change
    assert LINKS.claim(base64.urlsafe_b64encode(raw).decode(), TOLD) is None


def test_no_other_character_in_any_place_makes_a_token():
    tokens = (LINKS.token(msgspec.structs.replace(ANN, call=k)) for k in range(1000))
    token = next(token for token in tokens if "-" in token and "_" in token)
    others = ALPHABET + "+/=# \n\0é"
    for k in range(len(token)):
        assert not [c for c in others if c != token[k] and LINKS.claim(token[:k] + c + token[k + 1 :], TOLD)]
        assert LINKS.claim(token[:k], TOLD) is None
        assert LINKS.claim(token[:k] + token[k + 1 :], TOLD) is None
    assert LINKS.claim(f"{token}A", TOLD) is None


@given(st.text(max_size=80))
@example("A" * TOKEN_CHARACTERS)
def test_no_text_is_a_token(text):
    assert LINKS.claim(text, TOLD) is None


@pytest.mark.parametrize(
    "other",
    [
        dataclasses.replace(LINKS, key=bytes(32)),
        dataclasses.replace(LINKS, cook="second frost"),
    ],
)
def test_a_token_of_another_pit_or_cook_is_none(other):
    assert LINKS.claim(other.token(ANN), TOLD) is None


def test_a_token_of_somebody_whom_the_config_has_no_more_is_none():
    assert LINKS.claim(LINKS.token(ANN), TOLD[1:]) is None
    assert LINKS.claim(LINKS.token(ANN), ()) is None
    shifted = Claim(7, "Annp", "ush", ANN.until_ms)
    assert LINKS.token(shifted) != LINKS.token(ANN), "where a name ends is signed too"


def test_the_key_is_made_once_and_refused_when_others_may_read_it(tmp_path):
    file = link_key_file(tmp_path / "state" / "cooks.db")
    key = link_key(file)
    assert len(key) == 32
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert link_key(file) == key
    file.chmod(0o640)
    with pytest.raises(TokenError, match="others on this machine"):
        link_key(file)
    file.chmod(0o600)
    file.write_bytes(key[:31])
    with pytest.raises(TokenError, match="holds no key"):
        link_key(file)
    file.unlink()
    file.mkdir(0o700)
    with pytest.raises(TokenError, match="cannot be used"):
        link_key(file)


# ---- the config


@pytest.mark.parametrize(
    ("link", "what"),
    [
        ("http://pit.local:8765", "in clear"), ("https://pit.local:8765/", "not only scheme"),
        ("https://pit.local?x", "not only scheme"), ("https://pit.local#x", "not only scheme"),
        ("https://a@pit.local", "not only scheme"), ("pit.local:8765", "not only scheme"), ("https://", "not only"),
        ("https://pit.local:x", "no address"), ("https://elsewhere.example", "add it to hosts"),
        ("http://127.0.0.1:8765", "https:// where there is a certificate_file"), ("https://pit.local:", "not only"),
    ],
)  # fmt: skip
def test_an_address_that_no_phone_could_use_is_a_mistake(tmp_path, link, what):
    certify(tmp_path)
    table = 'certificate_file = "pit.crt"\nkey_file = "pit.key"\nhosts = ["pit.local"]\n'
    ((key, said),) = mistake(f'[serve]\nlisten = "0.0.0.0:8765"\n{table}link = "{link}"\n', tmp_path)
    assert key == "serve.link"
    assert what in said


@pytest.mark.parametrize(
    ("link", "listen", "tls"),
    [
        ("https://pit.local:8765", "0.0.0.0:8765", True), ("https://10.0.0.9:8765", "0.0.0.0:8765", True),
        ("https://[fd00::1]:8765", "[::]:8765", True), ("http://localhost:8765", "127.0.0.1:8765", False),
    ],
)  # fmt: skip
def test_an_address_that_a_phone_can_use_is_none_but_where_nobody_gets_it_that_is_said(tmp_path, link, listen, tls):
    certify(tmp_path)
    table = 'certificate_file = "pit.crt"\nkey_file = "pit.key"\nhosts = ["pit.local"]\n' if tls else ""
    text = f'{config_text(1883)}[serve]\nlisten = "{listen}"\n{table}link = "{link}"\n'
    read = parse(text, tmp_path / "c.toml")
    assert read.config.serve.link == link
    assert any("serve.link: no [[person]]" in warning for warning in read.warnings)


# ---- what a tap does


class Tapping(House):
    """An outbox at work, and who taps its links."""

    def __init__(self, before=None, ended=()):
        super().__init__(before, CALLING, links=LINKS, ended=ended)
        self.troubles = [COLD]
        self.acknowledged = []
        self.refuses = ""
        self.taps = Taps(
            LINKS, self.outbox, TOLD, acknowledge=self._acknowledge, look=lambda: self.outbox.look(self.troubles),
            now=lambda: self.now, pit="pit", zone=dt.UTC,
        )  # fmt: skip

    def _acknowledge(self, key, by):
        if self.refuses:
            return self.refuses
        self.acknowledged.append((key, by))
        if key == "test":
            return "" if self.outbox.proof.acknowledge(by) else "no such alarm"
        self.troubles = [msgspec.structs.replace(t, state=AlarmState.ACKNOWLEDGED) for t in self.troubles]
        return ""

    async def links(self):
        async with self.at_work():
            self.outbox.look(self.troubles)
            await self.until(lambda: self.push.came)
        return [m.document["acknowledge_link"].partition("#")[2] for m in self.push.came]

    def tap(self, token, act=True):
        told = self.taps.tap(token, act=act)
        return None if told is None else (told.state, told.text)


async def test_a_link_acknowledges_once_and_says_by_whose_it_was_also_after_a_restart():
    house = Tapping()
    (token,) = await house.links()
    message = house.push.came[0]
    assert message.text.splitlines()[-1] == f"https://pit.example:8765/acknowledge#{token}"
    assert house.tap(token, act=False) == ("open", "Called since 15:06. Nobody has acknowledged it.")
    assert not house.acknowledged, "looking does nothing"
    assert house.tap(token) == ("done", "Acknowledged at 15:06.")
    assert house.acknowledged == [("cold", "the link sent to Ann by push")]
    assert house.rows[1].why == "acknowledged by the link sent to Ann by push"
    said = ("ended", "This was acknowledged already, at 15:06 by the link sent to Ann by push.")
    for _ in range(2):
        assert house.tap(token) == said
    after = Tapping(house.on_record(), ended=[house.rows[1]])
    assert after.tap(token) == said
    after.troubles = [COLD]
    assert after.tap(token) == said, "the trouble came again: that is another call, with another link"
    assert after.acknowledged == []
    assert token not in str(house.rows), "not on record"
    anew = Tapping()
    anew.now += 60
    await anew.links()
    assert "of a call that has ended" in anew.tap(token)[1], "a fresh store numbers its calls anew"
    assert anew.acknowledged == []


async def test_a_link_says_why_there_is_nothing_to_do():
    house = Tapping()
    (token,) = await house.links()
    house.refuses = "shelved"
    assert house.tap(token)[0] == "failed"
    assert house.tap(token)[1].startswith("NOT acknowledged: shelved. Instead acknowledge on the phone page")
    house.refuses = ""
    house.now += VALID_MS / 1000
    assert house.tap(token)[0] == "ended"
    assert "good for 12 hours, until 03:06" in house.tap(token)[1]
    house.troubles = []
    assert house.tap(token) == ("ended", "This was over at 03:06. There is nothing to acknowledge any more.")
    assert house.acknowledged == []
    house = Tapping()
    house.troubles = [msgspec.structs.replace(SOON, key="cold")]
    (token,) = await house.links()
    house.troubles = [COLD]
    assert "became more urgent at 15:06" in house.tap(token)[1]
    house.troubles = [msgspec.structs.replace(COLD, state=AlarmState.ACKNOWLEDGED)]
    fresh = LINKS.token(Claim(2, "Ann", "push", round(START * 1000) + VALID_MS))
    assert "by somebody in another way than a link" in house.tap(fresh)[1]
    assert "of a call that has ended" in house.tap(LINKS.token(Claim(99, "Ann", "push", 1)))[1]
    assert house.tap("x" * TOKEN_CHARACTERS) is None


async def test_a_link_of_a_test_proves_it_once_and_no_other():
    house = Tapping()
    house.troubles = []
    async with house.at_work():
        house.outbox.proof.begin("Ann", 60.0)
        await house.until(lambda: house.push.came)
        first = house.push.came[-1].document["acknowledge_link"].partition("#")[2]
        house.now += 5
        house.outbox.proof.begin("Ann", 60.0)
        await house.until(lambda: len(house.push.came) == 2)
    second = house.push.came[-1].document["acknowledge_link"].partition("#")[2]
    assert house.tap(first) == ("ended", "This test is over. Nothing is wrong; there is nothing to do.")
    assert house.tap(second, act=False)[0] == "open"
    assert house.tap(second)[0] == "done"
    assert house.tap(second)[1] == "This was acknowledged already, at 15:06 by the link sent to Ann by push."
    assert house.acknowledged == [("test", "the link sent to Ann by push")]
    house.outbox.proof.begin("Ann", 60.0)
    third = LINKS.token(Claim(0, "Ann", "push", round(house.now * 1000) + VALID_MS))
    house.now += 61
    assert "This test was over at" in house.tap(third)[1]


async def test_a_channel_that_others_may_read_has_no_link_and_a_digest_has_those_of_its_messages():
    house = Tapping()
    house.push.link = False
    house.troubles = [msgspec.structs.replace(SOON, key=f"source/{k}") for k in range(8)]
    async with house.at_work():
        house.outbox.look(house.troubles)
        await house.until(lambda: len(house.push.came) == 6)
        assert {m.document["acknowledge_link"] for m in house.push.came} == {None}
        assert not [m for m in house.push.came if "#" in m.text]
        house.push.link = True
        house.outbox._sending.buckets["push"].tokens = 1.0
        house.outbox._sending.wake["push"].set()
        await house.until(lambda: len(house.push.came) == 7)
    digest = house.push.came[-1]
    assert digest.document["acknowledge_link"] is None
    links = [m["acknowledge_link"] for m in digest.document["messages"]]
    assert len(set(links)) == 2
    assert [line for line in digest.text.splitlines() if "#" in line] == links


async def test_a_program_that_says_what_it_was_told_puts_no_link_on_record(caplog):
    house = Tapping()
    echo = "import json, sys; sys.exit(json.load(sys.stdin)['acknowledge_link'])"
    house.outbox._sending.channels["push"] = Command(CommandTo((sys.executable, "-c", echo)))
    async with house.at_work():
        house.outbox.look([COLD])
        await house.until(lambda: house.messages[0].tries)
    assert house.messages[0].error == "the program ended with 1: https://pit.example:8765/acknowledge#..."
    assert LINKS.token(Claim(1, "Ann", "push", round(START * 1000) + VALID_MS)) not in caplog.text


# ---- the whole of it: a collector, its service over TLS, a phone


class Called:
    """A collector whose probes fell silent, and what its people were sent."""

    def __init__(self, folder, broker_port=0):
        self.folder, self.port, self.came = folder, free_port(), []
        files = certify(folder)
        self.at = f"https://127.0.0.1:{self.port}"
        self.serve = ServeOptions(
            Listen("127.0.0.1", self.port), files, frozenset({"pit.local"}), folder / "t.json", folder / "s.json",
            link=self.at, link_key=folder / "s.links.key",
        )  # fmt: skip
        self.broker_port = broker_port

    async def take(self, request):
        self.came.append(json.loads(await request.read()))
        return web.Response()

    @contextlib.asynccontextmanager
    async def running(self, start=START):
        people = [Person("Ann", ("push",))] + ([Person("Ben", ("wall",))] if self.broker_port else [])
        ladder = Ladder(frozenset({Priority.SOON}), (Step(0, tuple(p.name for p in people)),), 86400.0)
        wall = MqttTo(BrokerAddress("127.0.0.1", self.broker_port), "house/wall")
        app = web.Application()
        app.router.add_post("/push", self.take)
        runner = web.AppRunner(app, shutdown_timeout=0.1)
        await runner.setup()
        await web.TCPSite(runner, "127.0.0.1", 0).start()
        push = WebhookTo(f"http://127.0.0.1:{runner.addresses[0][1]}/push")
        channels = {"push": push, "wall": wall} if self.broker_port else {"push": push}
        plan = night_settings().plan
        self.collector = Collector(
            plan, [], self.folder / "s.db", self.folder / "c.sock", playback=True, speed=2.0, start_unix=start,
            calling=Calling(tuple(people), (ladder,), channels), serve=self.serve,
        )  # fmt: skip
        task = asyncio.create_task(self.collector.run())
        await self.collector.ready.wait()
        try:
            for probe in plan.probes:
                self.collector._pipeline.take(Reading(probe.source, probe.key, 20.0, start))
            self.collector._pipeline.advance(start + 1000.0)
            yield self
        finally:
            self.collector.stop()
            assert await task == 0
            await runner.cleanup()

    async def until(self, ready):
        async with asyncio.timeout(WAIT_SECONDS):
            while not ready():
                await asyncio.sleep(0.02)

    async def link(self):
        await self.until(lambda: self.came and self.collector._serving.port)
        return self.came[-1]["acknowledge_link"]

    @property
    def trouble(self):
        return self.collector.snapshot().troubles[0]


async def post(client, at, token, *, act, **headers):
    body = json.dumps({"token": token, "act": act})
    async with client.post(f"{at}/acknowledge", data=body, headers=headers) as answer:
        text = await answer.text()
        return answer.status, json.loads(text) if answer.status == 200 else text


@pytest.mark.broker
async def test_a_tap_over_tls_acknowledges_once_nothing_else_does_and_a_restart_forgets_nothing(
    real_broker, tmp_path, caplog, monkeypatch
):
    caplog.set_level("DEBUG")
    called = Called(tmp_path, real_broker.start().port)
    async with called.running(), session() as client:
        link = await called.link()
        at, _, token = link.partition("/acknowledge#")
        assert at == called.at
        assert link in called.came[-1]["text"].splitlines()
        retained = await on_the_wall(called.broker_port)
        assert (retained["person"], retained["acknowledge_link"]) == ("Ben", None)
        assert "acknowledge#" not in json.dumps(retained), "whoever may read the topic could tap it"
        for path in ("/acknowledge", f"/acknowledge?{token}"):
            async with client.get(f"{at}{path}") as answer:
                assert answer.status in (200, 404), "a preview of a chat, a scanner of mails"
                assert token not in str(answer.headers)
        async with client.head(f"{at}/acknowledge") as answer:
            assert answer.status == 404
        origin = {"Origin": at}
        assert (await post(client, at, token, act=True))[0] == 403, "not from our page"
        assert (await post(client, at, token, act=True, Origin="https://evil.example"))[0] == 403
        assert (await post(client, at, token, act=True, Host="evil.example", **origin))[0] == 421
        status, told = await post(client, at, token, act=False, **origin)
        assert (status, told["state"], told["pit"]) == (200, "open", called.collector.snapshot().chamber.name)
        assert told["title"] == called.trouble.title
        assert called.trouble.state is AlarmState.UNACKNOWLEDGED
        both = await asyncio.gather(*(post(client, at, token, act=True, **origin) for _ in range(2)))
        assert sorted(told["state"] for _, told in both) == ["done", "ended"], "two taps at a time are one"
        assert called.trouble.state is AlarmState.ACKNOWLEDGED
        _, again = await post(client, at, token, act=True, **origin)
        assert re.fullmatch(
            r"This was acknowledged already, at \d\d:\d\d by the link sent to Ann by push\.", again["text"]
        )
        await a_test_is_proven(called, client)
    async with called.running(START + 2000.0), session() as client:
        await called.until(lambda: called.collector._serving.port)
        assert called.collector.resumed
        assert (await post(client, at, token, act=True, **origin))[1] == again, "title and all"
        monkeypatch.setattr(throttle, "WINDOW_SECONDS", 3600.0)  # however long these take
        answers = [(await post(client, at, forged(token, k), act=True, **origin))[0] for k in range(200)]
        assert answers == [403] * MOST_A_MINUTE + [429] * (200 - MOST_A_MINUTE)
        assert (await post(client, at, token, act=True, **origin))[0] == 429
    assert token not in caplog.text
    assert "by the link sent to Ann by push" in caplog.text
    for file in tmp_path.glob("s.db*"):
        assert token.encode() not in file.read_bytes()
    with contextlib.closing(sqlite3.connect(tmp_path / "s.db")) as db:
        found = db.execute("SELECT subject, text FROM action WHERE kind = 'acknowledge'").fetchall()
        assert found == [(called.came[0]["key"], "the link sent to Ann by push")], "once"
    with Archive(tmp_path / "s.db") as archive:
        cook = archive.cook("last")
        assert differences(archive, cook) == []


async def on_the_wall(port):
    async with aiomqtt.Client("127.0.0.1", port) as client, asyncio.timeout(WAIT_SECONDS):
        await client.subscribe("house/wall")
        return json.loads((await anext(aiter(client.messages))).payload)


async def a_test_is_proven(called, client):
    words = ["--socket", str(called.folder / "c.sock"), "--require-ack", "--wait", "15", "--to", "Ann"]
    testing = asyncio.create_task(asyncio.to_thread(main, ["alarms", "test", *words]))
    await called.until(lambda: called.came[-1]["word"] == "test")
    token = called.came[-1]["acknowledge_link"].partition("#")[2]
    assert (await post(client, called.at, token, act=True, Origin=called.at))[1]["state"] == "done"
    assert await testing == 0
    marks = [mark.text for mark in called.collector.snapshot().marks if mark.kind == "wake-up"]
    assert [text for text in marks if "by the link sent to Ann by push" in text]


def forged(token, k):
    return token[:14] + base64.urlsafe_b64encode(k.to_bytes(3, "big")).decode() + token[18:]


async def test_bad_bodies_are_answered_and_counted(tmp_path):
    called = Called(tmp_path)
    async with called.running(), session() as client:
        await called.link()
        bodies = [b"", b"{", b"[]", b"\xff", b'{"token": 3}', b'{"token": "x", "more": 1}', b'{"token": "\xff\xff"}']
        for body in bodies:
            async with client.post(f"{called.at}/acknowledge", data=body, headers={"Origin": called.at}) as answer:
                assert answer.status == 400, body
                assert "tap its whole link" in await answer.text()
        async with client.post(f"{called.at}/acknowledge", data=b"x" * 5000, headers={"Origin": called.at}) as answer:
            assert answer.status == 413
        assert called.trouble.state is AlarmState.UNACKNOWLEDGED


async def test_a_key_that_others_may_read_costs_the_links_and_nothing_else(tmp_path, caplog):
    called = Called(tmp_path)
    called.serve.link_key.write_bytes(bytes(32))
    called.serve.link_key.chmod(0o644)
    async with called.running(), session() as client:
        assert await called.link() is None
        assert "messages have no link to acknowledge by" in caplog.text
        token = Links(called.at, bytes(32), called.collector.cook).token(
            Claim(1, "Ann", "push", round((START + 1000.0) * 1000) + VALID_MS)
        )
        assert (await post(client, called.at, token, act=True, Origin=called.at))[0] == 403


@pytest.mark.skipif(chromium() is None, reason="needs a Chromium browser (apt install chromium)")
async def test_a_thumb_taps_the_button(tmp_path):
    called = Called(tmp_path)
    async with browser(tmp_path / "profile") as tab, called.running():
        link = await called.link()
        token = link.partition("#")[2]
        await tab.looks(360, 740, "dark")
        await tab.go(link)
        await tab.until("document.body.dataset.state === 'open'")
        text = await tab.says("document.body.innerText")
        assert called.trouble.title in text
        assert called.collector.snapshot().chamber.name in text
        assert await tab.says("location.href") == f"{called.at}/acknowledge", "the secret is out of the address bar"
        assert token not in await tab.says("document.documentElement.outerHTML")
        for scheme in ("dark", "light"):
            await tab.looks(360, 740, scheme, tmp_path / f"link-{scheme}.png")
            least, smallest = await tab.says(LEGIBLE)
            assert least[0] >= 4.5, least
            assert smallest[0] >= 14, smallest
        for size in ("16px", "32px"):
            await tab.says(f"document.documentElement.style.fontSize = '{size}'")
            width, height, bottom = await tab.says(BUTTON)
            assert (await tab.says("document.documentElement.scrollWidth")) <= 360
            assert width > 300
            assert height >= 48
            assert 740 / 2 < bottom <= 740, "under the thumb"
        await tab.says("document.documentElement.style.fontSize = ''")
        assert called.trouble.state is AlarmState.UNACKNOWLEDGED, "nothing is done before the tap"
        await thumb(tab)
        await tab.until("document.body.dataset.state === 'done'")
        assert called.trouble.state is AlarmState.ACKNOWLEDGED
        assert await tab.says("document.querySelector('#bar').hidden")
        await tab.says(f"location.hash = '{token}'")
        await tab.until("document.body.innerText.includes('acknowledged already')")
        assert "#" not in await tab.says("location.href")
        await tab.says(f"location.hash = '{forged(token, 1)}'")
        await tab.until("document.body.innerText.includes('not good here')")
        await tab.go("about:blank")
        await tab.go(f"{called.at}/acknowledge")
        await tab.until("document.body.dataset.state === 'empty'")
        left = [c for c in tab.complaints if "403" not in c]
        assert not left, "neither an error nor a broken policy"
        await tab.go("about:blank")
        await tab.go(link)
        await tab.until("document.body.innerText.includes('acknowledged already')")
        await tab.says("fetch = () => Promise.reject(new TypeError())")
        await tab.says("ask(true)")
        await tab.until("document.body.dataset.state === 'away'")
        assert "Try again" in await tab.says("document.querySelector('#tap').innerText")


BUTTON = """(() => {
  const r = document.querySelector("#tap").getBoundingClientRect();
  return [r.width, r.height, r.bottom];
})()"""


async def thumb(tab):
    """Touch the button where it lies, as a finger would."""
    x, y = await tab.says(
        "(() => { const r = document.querySelector('#tap').getBoundingClientRect();"
        " return [r.x + r.width / 2, r.y + r.height / 2]; })()"
    )
    await tab.does("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
    await tab.does("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
