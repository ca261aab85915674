"""Each way out against the real thing: what arrives, what is said when nothing does, and that nothing hangs."""

import asyncio
import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import aiomqtt
import pytest
from aiohttp import web

from adapters.mqtt.options import BrokerAddress
from collector.calls import channels
from collector.calls.channels import Apprise, Bell, ChannelError, Command, Mqtt, Webhook
from collector.calls.message import Message
from collector.calls.options import AppriseTo, BellTo, CommandTo, MqttTo, WebhookTo
from tests.waiting import WAIT_SECONDS, until

SECRET = "s3cret-of-the-pit"
MESSAGE = Message(
    "0a1b", "URGENT at offset: flat side runs cold", "since 03:10", {"schema": 1, "id": "0a1b"}, True, b"\x89PNG"
)


@pytest.fixture
async def house():
    """A little server on loopback: answers as the path says, keeps what came."""
    came = []

    async def take(request):
        if request.match_info["how"] == "slow":
            await asyncio.sleep(600)
        if request.content_type.startswith("multipart"):
            came.append({part.name: await part.read() async for part in await request.multipart()})
        else:
            came.append(json.loads(await request.read()))
        return web.Response(status=int(request.match_info["how"]), headers={"Location": "/200/elsewhere"})

    app = web.Application()
    app.router.add_route("*", "/{how}/{rest:.*}", take)
    runner = web.AppRunner(app, shutdown_timeout=0.1)
    await runner.setup()
    site = web.TCPSite(runner, "127.0.0.1", 0)
    await site.start()
    came_to = f"http://127.0.0.1:{runner.addresses[0][1]}"
    yield came_to, came
    await runner.cleanup()


async def why(channel):
    """Say why a message did not go out; empty when it did."""
    try:
        await channel.send(MESSAGE)
    except ChannelError as error:
        assert SECRET not in str(error)
        assert SECRET not in repr(channel.__dict__)
        return str(error)
    return ""


async def test_a_webhook_is_given_document_and_picture_and_only_a_2xx_is_taken(house):
    at, came = house
    assert await why(Webhook(WebhookTo(f"{at}/204/{SECRET}"))) == ""
    assert await why(Webhook(WebhookTo(f"{at}/200/{SECRET}", "base64"))) == ""
    assert await why(Webhook(WebhookTo(f"{at}/200/{SECRET}", "multipart"))) == ""
    assert came == [
        MESSAGE.document, {**MESSAGE.document, "picture": "iVBORw=="},
        {"document": MESSAGE.body, "picture": MESSAGE.picture},
    ]  # fmt: skip
    for status in (302, 404, 500):
        assert await why(Webhook(WebhookTo(f"{at}/{status}/{SECRET}"))) == f"answers {status}"
    assert await why(Webhook(WebhookTo(f"http://127.0.0.1:9/{SECRET}"))) == "cannot be reached"
    assert await why(Webhook(WebhookTo(f"http://[::bad/{SECRET}"))) == "fails: InvalidUrlClientError"


async def test_a_webhook_that_does_not_answer_is_left(house, monkeypatch):
    monkeypatch.setattr(channels, "TIMEOUT_SECONDS", 0.3)
    assert await why(Webhook(WebhookTo(f"{house[0]}/slow/{SECRET}"))) == "no answer in 0 s"


def script(text, seconds=WAIT_SECONDS):
    return CommandTo((sys.executable, "-c", text, SECRET), seconds)


async def test_a_command_gets_the_document_and_its_exit_code_counts(tmp_path):
    kept = tmp_path / "kept"
    assert await why(Command(script(f"import sys; open({str(kept)!r}, 'w').write(sys.stdin.read())"))) == ""
    assert json.loads(kept.read_text()) == MESSAGE.document
    assert await why(Command(script("pass"))) == "", "it need not read"
    said = await why(Command(script("import sys; sys.exit('no such\\x1b number\\nmore')")))
    assert said == "the program ended with 1: no such number"
    assert await why(Command(CommandTo(("/nowhere/at-all",)))) == (
        "the program cannot be run: No such file or directory"
    )


async def test_a_command_that_hangs_or_floods_is_ended_with_all_it_started(tmp_path):
    flood = script("import sys\nwhile True: sys.stderr.write('x' * 100000)", 0.6)
    assert await why(Command(flood)) == "the program did not end in 0.6 s"
    child = tmp_path / "child"
    left = (
        "import subprocess, sys; p = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)']); "
        f"open({str(child)!r}, 'w').write(str(p.pid))"
    )
    assert await why(Command(script(left))) == ""

    def ended():
        try:
            return Path(f"/proc/{child.read_text()}/stat").read_text().split()[2] == "Z"
        except FileNotFoundError:
            return True

    await until(ended)


@pytest.mark.broker
async def test_a_topic_keeps_the_newest_message(broker):
    version_5 = broker.real
    assert await why(Mqtt(MqttTo(BrokerAddress("127.0.0.1", broker.port, version_5), "pit/call"))) == ""
    async with aiomqtt.Client("127.0.0.1", broker.port) as client:
        await client.subscribe("pit/#", 1)
        message = await anext(client.messages)
    assert (message.payload, message.retain) == (MESSAGE.body, True)
    broker.stop()
    said = await why(Mqtt(MqttTo(BrokerAddress("127.0.0.1", broker.port, version_5, "ann", SECRET), "pit/call")))
    assert said.startswith("the broker does not take it: ")


@pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")
async def test_apprise_is_given_text_and_picture_in_a_thread_that_may_hang(house, monkeypatch):
    at, came = house
    assert await why(Apprise(AppriseTo((at.replace("http", "json") + "/200/",)))) == ""
    assert came[0]["title"] == MESSAGE.title
    assert came[0]["message"] == MESSAGE.text
    assert came[0]["attachments"][0]["base64"] == "iVBORw=="
    failing = at.replace("http://", f"json://ann:{SECRET}@") + "/500/"
    assert await why(Apprise(AppriseTo((failing,)))) == "not all of its services took it, says Apprise"
    unknown = Apprise(AppriseTo((f"nobody-knows://{SECRET}",)))
    assert await why(unknown) == "Apprise does not know an address in its file"
    monkeypatch.setattr(channels, "TIMEOUT_SECONDS", 0.2)
    slow = Apprise(AppriseTo((at.replace("http", "json") + "/slow/?rto=0.8",)))
    assert await why(slow) == "no answer in 0 s"
    assert await why(slow) == "still hangs in the message before"
    slow._thread.join(WAIT_SECONDS)
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "apprise", None)
        assert await why(Apprise(AppriseTo((at,)))) == "Apprise is not installed; install coldside[notify]"


def test_the_bell_rings_in_its_terminal_or_says_that_there_is_none():
    code = (
        "import asyncio\nfrom collector.calls.channels import Bell, ChannelError\n"
        "try: asyncio.run(Bell().send(None)); print('rung')\nexcept ChannelError as e: print(e)"
    )
    none = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, start_new_session=True)
    assert none.stdout.strip() == "there is no terminal to ring here"
    pid, terminal = pty.fork()
    if pid == 0:
        os.execv(sys.executable, [sys.executable, "-c", code])
    said = b""
    while b"rung" not in said:
        said += os.read(terminal, 1000)
    os.waitpid(pid, 0)
    os.close(terminal)
    assert b"\a" in said


def test_options_show_no_secret_and_sending_alone_imports_what_it_needs():
    broker = MqttTo(BrokerAddress("h", 1, password=SECRET), "t")
    for to in (WebhookTo(SECRET), CommandTo((SECRET,)), AppriseTo((SECRET,)), broker):
        assert SECRET not in repr(to)
    code = (
        "import sys\nfrom collector.calls.channels import channel_of\nfrom collector.calls.options import *\n"
        "from adapters.mqtt.options import BrokerAddress\n"
        "import collector.daemon, collector.calls.outbox, collector.calls.picture\n"
        "tos = WebhookTo('u'), CommandTo(('c',)), AppriseTo(('u',)), MqttTo(BrokerAddress('h', 1), 't'), BellTo()\n"
        "[channel_of(to) for to in tos]\n"
        "print(sorted({'aiohttp', 'aiomqtt', 'paho', 'apprise', 'requests'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert out.stdout.strip() == "[]", out.stderr
    assert isinstance(channels.channel_of(BellTo()), Bell)
