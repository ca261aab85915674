"""The ways by which a message leaves: each sends one or says why it could not, within a bounded time.

No error's words hold an address, a password or an argument: they are shown, logged and put on record.
"""

import asyncio
import contextlib
import logging
import os
import signal
import threading
from base64 import b64encode
from pathlib import Path
from typing import Protocol

from adapters.text import clean_text
from collector.brokers import client_of
from collector.calls.message import Message
from collector.calls.options import AppriseTo, BellTo, CommandTo, MqttTo, To, WebhookTo

__all__ = ["Apprise", "Bell", "Channel", "ChannelError", "Command", "Mqtt", "Webhook", "channel_of"]

TIMEOUT_SECONDS = 10.0
STDERR_BYTES = 4096
"""What is kept of what a program says; the rest is read and thrown away, so that it never blocks."""
LINGER_SECONDS = 0.5
"""What a program left behind may go on holding its stderr."""


class ChannelError(Exception):
    """A message did not go out; says why without any secret."""


class Channel(Protocol):
    """One way to reach somebody."""

    picture: bool
    """Whether it takes a picture."""
    link: bool
    """Whether it reaches its person alone, so that a link may go by it that acknowledges."""

    async def send(self, message: Message) -> None:
        """Send one message.

        Raises:
            ChannelError: it did not go out, or nobody said that it did.
        """


def channel_of(to: To) -> Channel:
    """Make the channel of its options; what it needs is imported when it first sends."""
    match to:
        case WebhookTo():
            return Webhook(to)
        case CommandTo():
            return Command(to)
        case MqttTo():
            return Mqtt(to)
        case AppriseTo():
            return Apprise(to)
        case BellTo():
            return Bell()


class Webhook:
    """Posts the document to an address; an answer from 200 to 299 says that it was taken."""

    def __init__(self, to: WebhookTo) -> None:
        self._to = to
        self.picture = to.picture != "none"
        self.link = True

    async def send(self, message: Message) -> None:
        """Post one message."""
        import aiohttp

        limit = aiohttp.ClientTimeout(total=TIMEOUT_SECONDS)
        form, body, headers = None, message.body, {"Content-Type": "application/json"}
        if self._to.picture == "multipart":
            form, headers = aiohttp.FormData(), {}
            form.add_field("document", body.decode(), content_type="application/json")
            if message.picture:
                form.add_field("picture", message.picture, filename="chamber.png", content_type="image/png")
        elif self._to.picture == "base64":
            import msgspec

            body = msgspec.json.encode({**message.document, "picture": b64encode(message.picture).decode() or None})
        try:
            async with aiohttp.ClientSession(timeout=limit) as session:
                sent = session.post(
                    self._to.url, data=body if form is None else form, headers=headers, allow_redirects=False
                )
                async with sent as answer:
                    status = answer.status
        except TimeoutError as error:
            raise ChannelError(f"no answer in {TIMEOUT_SECONDS:.0f} s") from error
        except aiohttp.ClientConnectorCertificateError as error:
            raise ChannelError("its certificate is not to be trusted") from error
        except aiohttp.ClientConnectorError as error:
            raise ChannelError("cannot be reached") from error
        except (aiohttp.ClientError, OSError, ValueError) as error:  # their words may hold the address
            raise ChannelError(f"fails: {type(error).__name__}") from error
        if not 200 <= status < 300:
            raise ChannelError(f"answers {status}")


class Command:
    """Runs a program with the document on its standard input; exit code 0 says that it was taken."""

    picture = False
    link = True

    def __init__(self, to: CommandTo) -> None:
        self._to = to

    async def send(self, message: Message) -> None:
        """Run it once."""
        try:
            process = await asyncio.create_subprocess_exec(
                *self._to.words, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.DEVNULL,
                stderr=asyncio.subprocess.PIPE, start_new_session=True,
            )  # fmt: skip
        except (OSError, ValueError) as error:
            why = error.strerror if isinstance(error, OSError) else type(error).__name__
            raise ChannelError(f"the program cannot be run: {why}") from error
        said = bytearray()
        listening = asyncio.create_task(_drain(process.stderr, said), name="stderr of a command")
        feeding = asyncio.create_task(_feed(process.stdin, message.body), name="stdin of a command")
        try:
            async with asyncio.timeout(self._to.seconds):
                code = await _end(process)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LINGER_SECONDS):
                    await asyncio.shield(listening)
        except TimeoutError as error:
            raise ChannelError(f"the program did not end in {self._to.seconds:g} s") from error
        finally:
            listening.cancel()
            feeding.cancel()
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(process.pid, signal.SIGKILL)  # and whatever it started
            process._transport.close()  # type: ignore[attr-defined]  # else a stranger who holds a pipe keeps it open
            await asyncio.gather(listening, feeding, return_exceptions=True)
        if code:
            raise ChannelError(f"the program ended with {code}{_first_line(said)}")


async def _end(process: asyncio.subprocess.Process) -> int:
    """Wait for the program alone: `wait` waits for the ends of its pipes too, which what it started may hold."""
    while process.returncode is None:  # noqa: ASYNC110 - it has no event
        await asyncio.sleep(0.02)
    return process.returncode


async def _drain(stream: asyncio.StreamReader | None, kept: bytearray) -> None:
    while stream is not None and (some := await stream.read(65536)):
        kept += some[: max(0, STDERR_BYTES - len(kept))]


async def _feed(stream: asyncio.StreamWriter | None, body: bytes) -> None:
    if stream is None:
        return
    with contextlib.suppress(ConnectionError, OSError):  # it need not read
        stream.write(body)
        await stream.drain()
        stream.close()
        await stream.wait_closed()


def _first_line(said: bytearray) -> str:
    text = clean_text(said.decode("utf-8", "replace").strip().partition("\n")[0], 200)
    return f": {text}" if text else ""


class Mqtt:
    """Publishes the document, retained and at QoS 1; the broker's acknowledgement says that it was taken."""

    picture = False
    link = False  # the broker keeps it for whoever may read the topic

    def __init__(self, to: MqttTo) -> None:
        self._to = to

    async def send(self, message: Message) -> None:
        """Connect, publish, go."""
        import aiomqtt

        from adapters.errors import LinkError

        to = self._to
        try:
            async with (
                asyncio.timeout(TIMEOUT_SECONDS),
                client_of(to.broker, "coldside.calls", TIMEOUT_SECONDS) as client,
            ):
                await client.publish(to.topic, message.body, 1, retain=True)
        except TimeoutError as error:
            raise ChannelError(f"no answer in {TIMEOUT_SECONDS:.0f} s") from error
        except (aiomqtt.MqttError, LinkError, OSError, ValueError) as error:
            raise ChannelError(f"the broker does not take it: {str(error) or type(error).__name__}"[:200]) from error


class Apprise:
    """Hands the message to Apprise, in a thread: it blocks, and nobody can stop it when it hangs."""

    def __init__(self, to: AppriseTo) -> None:
        self._to = to
        self.picture = to.picture
        self.link = True
        self._thread: threading.Thread | None = None

    async def send(self, message: Message) -> None:
        """Send one message by all addresses."""
        if self._thread is not None and self._thread.is_alive():
            raise ChannelError("still hangs in the message before")
        loop = asyncio.get_running_loop()
        done: asyncio.Future[str] = loop.create_future()

        def settle(why: str) -> None:
            if not done.done():
                done.set_result(why)

        def work() -> None:
            why = self._notify(message)
            with contextlib.suppress(RuntimeError):  # the loop is gone: nobody waits any more
                loop.call_soon_threadsafe(settle, why)

        # a thread of its own: one that hangs must not hold up the end of the program, nor anybody else's threads
        self._thread = threading.Thread(target=work, name="apprise", daemon=True)
        self._thread.start()
        try:
            async with asyncio.timeout(TIMEOUT_SECONDS):
                why = await done
        except TimeoutError as error:
            raise ChannelError(f"no answer in {TIMEOUT_SECONDS:.0f} s") from error
        if why:
            raise ChannelError(why)

    def _notify(self, message: Message) -> str:
        """Send it; say why it did not go out."""
        try:
            import apprise
            from apprise.attachment.memory import AttachMemory
        except ImportError:
            return "Apprise is not installed; install coldside[notify]"
        logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)  # it logs addresses
        try:
            to = apprise.Apprise()
            if [url for url in self._to.urls if not to.add(url)]:
                return "Apprise does not know an address in its file"
            picture = AttachMemory(message.picture, "chamber.png", "image/png")  # type: ignore[no-untyped-call]
            taken = to.notify(
                body=message.text, title=message.title, body_format=apprise.NotifyFormat.TEXT,
                notify_type=apprise.NotifyType.WARNING, attach=picture if message.picture else None,
            )  # fmt: skip
        except Exception as error:  # noqa: BLE001 - a hundred services behind it; their words may hold addresses
            return f"Apprise fails: {type(error).__name__}"
        return "" if taken else "not all of its services took it, says Apprise"


class Bell:
    """Rings the bell of the terminal in which the collector runs."""

    picture = False
    link = False

    async def send(self, message: Message) -> None:  # noqa: ARG002 - it says nothing
        """Ring once."""
        try:
            terminal = os.open(Path("/dev/tty"), os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError as error:
            raise ChannelError("there is no terminal to ring here") from error
        try:
            os.write(terminal, b"\a")
        except OSError as error:
            raise ChannelError(f"the terminal does not take it: {error.strerror}") from error
        finally:
            os.close(terminal)
