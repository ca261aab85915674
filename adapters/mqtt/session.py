"""One connection to a broker: paho's client, its sockets driven by the running event loop.

paho is used directly because it lets us acknowledge a QoS 1 message when we choose (`manual_ack`); its sockets are
read in bursts, many packets a wake-up.
"""

import asyncio
import contextlib
import ssl
import traceback
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from adapters.errors import LinkError, LinkReason
from adapters.mqtt.options import BrokerOptions, Tls
from adapters.mqtt.sharing import NO_MQTT_5, SHARED_RECEIVE_MAXIMUM, needs_sharing, wanted

if TYPE_CHECKING:
    from paho.mqtt.client import SocketLike

__all__ = ["OWN_CLIENT_ID", "RECEIVE_MAXIMUM", "Session", "tls_context"]

PACKETS_PER_WAKE_UP = 64
RECEIVE_MAXIMUM = 256
"""Unacknowledged messages we let a broker have under way to us."""
TIMEOUT_SECONDS = 10.0
SESSION_TAKEN_OVER = 0x8E
"""Reason code of a DISCONNECT (MQTT 5, 3.14.2.1)."""
NOT_SHARED = 0x9E
"""Reason code of a SUBACK (MQTT 5, 3.9.3)."""
NO_FILTER_OF_OURS = "coldside/nothing-is-subscribed-here"
OWN_CLIENT_ID = "give one of the collectors its own client_id"


class Session:
    """One life of the link to a broker.

    Args:
        options: the broker.
        client_id: ours, the same each time.
        on_message: gets each message, on the event loop.
        may_read: tells whether more messages are welcome; asked before each.
        on_session: told once, before any message, whether the broker kept our session.
        on_closed: called once when the link closes.
        on_arrived: gets the packet ids whose acknowledgements have reached the broker.
    """

    def __init__(
        self,
        options: BrokerOptions,
        client_id: str,
        on_message: Callable[[paho.MQTTMessage], None],
        may_read: Callable[[], bool],
        on_session: Callable[[bool], None],
        on_closed: Callable[[], None],
        on_arrived: Callable[[list[int]], None],
    ) -> None:
        self._options = options
        self._may_read = may_read
        self._on_session = on_session
        self._on_closed = on_closed
        self._on_arrived = on_arrived
        self._acknowledged: list[int] = []
        """Packet ids since the broker was last asked for an answer."""
        self._asked: tuple[int, list[int]] | None = None
        """Our packet id of a question without an answer yet, and the packet ids acknowledged before it."""
        self._greeted = False
        self._greeted_at = 0.0
        self._known = False
        self._can_share = True
        self._loop = asyncio.get_running_loop()
        self._connected: asyncio.Future[Any] = self._loop.create_future()
        self._subscribed: asyncio.Future[list[Any]] = self._loop.create_future()
        self._heard = 0
        self._paused = False
        self._misc: asyncio.TimerHandle | None = None
        self.closed: LinkError | None = None
        self._client = client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=None if options.version_5 else False,
            protocol=MQTTProtocolVersion.MQTTv5 if options.version_5 else MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        if options.user is not None:
            client.username_pw_set(options.user, options.password)
        if options.tls is not None:
            client.tls_set_context(tls_context(options.tls))
        client.connect_timeout = TIMEOUT_SECONDS
        client.on_connect = self._on_connect
        client.on_subscribe = lambda _c, _u, _m, codes, _p: _settle(self._subscribed, codes)
        client.on_unsubscribe = lambda _c, _u, mid, _codes, _p: self._answered(mid)
        client.on_disconnect = lambda _c, _u, _f, code, _p: self._close(*_ended(code, client_id))
        client.on_message = self._take(on_message)
        client.on_socket_open = self._on_socket_open
        client.on_socket_close = lambda _c, _u, sock: self._forget(sock)
        client.on_socket_register_write = self._on_register_write
        client.on_socket_unregister_write = self._on_unregister_write

    def _on_connect(self, _client: object, _userdata: object, flags: Any, code: Any, properties: Any) -> None:
        if not code.is_failure:
            self._known = bool(flags.session_present)
            self._can_share = getattr(properties, "SharedSubscriptionAvailable", 1) != 0  # 3.2.2.3.13: absent says yes
            self._on_session(self._known)
            self._greeted, self._greeted_at = True, self._loop.time()
        _settle(self._connected, code)

    def _take(self, on_message: Callable[[paho.MQTTMessage], None]) -> Callable[..., None]:
        def take(_client: object, _userdata: object, message: paho.MQTTMessage) -> None:
            self._heard += 1
            on_message(message)

        return take

    async def open(self) -> None:
        """Connect and subscribe.

        Raises:
            LinkError: the broker does not answer, refuses us, or refuses a filter.
        """
        options = self._options
        properties = None
        if options.version_5:
            properties = Properties(PacketTypes.CONNECT)
            properties.SessionExpiryInterval = options.session_expiry_seconds
            properties.ReceiveMaximum = SHARED_RECEIVE_MAXIMUM if options.share else RECEIVE_MAXIMUM
        arguments: dict[str, Any] = {"properties": properties, "clean_start": False} if options.version_5 else {}
        try:
            await asyncio.to_thread(
                self._client.connect, options.host, options.port, options.keepalive_seconds, **arguments
            )
        except ssl.SSLError as error:
            traceback.clear_frames(error.__traceback__)  # paho leaves the socket open to whoever keeps the traceback
            raise LinkError(LinkReason.TLS, str(error)) from error
        except (OSError, ValueError) as error:
            raise LinkError(LinkReason.UNREACHABLE, f"{options.host}:{options.port}: {error}") from error
        self._keep_alive()
        code = await self._greeting()
        if code.is_failure:
            if options.share and code.value == NO_MQTT_5:
                raise LinkError(LinkReason.REFUSED, needs_sharing(options.share, str(code)))
            denied = code.value in (4, 5, 134, 135) or "not authorized" in str(code).lower()
            raise LinkError(LinkReason.BAD_CREDENTIALS if denied else LinkReason.REFUSED, str(code))
        await self._subscribe()

    async def _greeting(self) -> Any:
        """Wait for the broker's greeting. One that speaks no MQTT 5 may hang up instead, or say nothing at all."""
        share = self._options.share
        try:
            return await self._answer(self._connected, "connection")
        except LinkError as error:
            if not share or error.reason not in (LinkReason.LOST, LinkReason.UNREACHABLE):
                raise
            said = error.detail or "the broker hung up without a greeting"
            said += "; it is starting, or, where that goes on, knows no MQTT 5"
            raise LinkError(LinkReason.REFUSED, needs_sharing(share, said)) from error

    async def _subscribe(self) -> None:
        filters, share = wanted(self._options), self._options.share
        if share and not self._can_share:
            raise LinkError(LinkReason.REFUSED, needs_sharing(share, "it says that it does not share subscriptions"))
        if share and self._known:  # what the session still has of a time without share would come beside it
            self._client.unsubscribe([s.filter for s in self._options.subscriptions])
        # Retained messages are for subscriptions that are not shared (4.8.2); Mosquitto 2.0.11 sends them all the same.
        asked: list[Any] = [(f, _asking(f, qos)) for f, qos in filters] if share else filters
        result, _ = self._client.subscribe(asked)
        if result != MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise LinkError(LinkReason.LOST, paho.error_string(result))
        codes = await self._answer(self._subscribed, "subscription")
        for (topic_filter, _), code in zip(filters, codes, strict=True):
            if code.is_failure and code.value == NOT_SHARED:
                raise LinkError(LinkReason.REFUSED, needs_sharing(share, f"filter {topic_filter!r}: {code}"))
            if code.is_failure:
                raise LinkError(LinkReason.REFUSED, f"filter {topic_filter!r}: {code}")

    async def _answer(self, future: asyncio.Future[Any], what: str) -> Any:
        try:
            async with asyncio.timeout(TIMEOUT_SECONDS):
                return await future
        except TimeoutError as error:
            raise LinkError(LinkReason.UNREACHABLE, f"no answer to our {what} in {TIMEOUT_SECONDS:.0f} s") from error

    def _on_socket_open(self, _client: object, _userdata: object, sock: "SocketLike") -> None:
        self._loop.call_soon_threadsafe(self._watch, sock)  # connecting runs in a thread

    def _on_register_write(self, _client: object, _userdata: object, sock: "SocketLike") -> None:
        self._loop.call_soon_threadsafe(self._want_write, sock)

    def _on_unregister_write(self, _client: object, _userdata: object, sock: "SocketLike") -> None:
        self._loop.call_soon_threadsafe(self._want_no_write, sock)

    def _watch(self, sock: "SocketLike") -> None:
        if sock.fileno() >= 0:
            self._loop.add_reader(sock, self._read)

    def _want_write(self, sock: "SocketLike") -> None:
        if sock.fileno() >= 0:
            self._loop.add_writer(sock, self._client.loop_write)

    def _want_no_write(self, sock: "SocketLike") -> None:
        if sock.fileno() >= 0:  # it may have been closed since, and is watched no more then
            self._loop.remove_writer(sock)

    def _forget(self, sock: "SocketLike") -> None:
        """Stop watching a socket before it is closed; it may be closed in the thread that failed to connect."""
        with contextlib.suppress(ValueError, OSError):
            if self._in_loop():
                self._loop.remove_reader(sock)
                self._loop.remove_writer(sock)

    def _in_loop(self) -> bool:
        try:
            return asyncio.get_running_loop() is self._loop
        except RuntimeError:
            return False

    def _read(self) -> None:
        """Read packets until the socket is empty, the burst is over, or no more are welcome."""
        for _ in range(PACKETS_PER_WAKE_UP):
            if not self._may_read():
                self._pause()
                return
            before = self._heard
            if self._client.loop_read() != MQTTErrorCode.MQTT_ERR_SUCCESS:
                return
            sock = self._client.socket()
            if self._heard == before and not (isinstance(sock, ssl.SSLSocket) and sock.pending()):
                return
        sock = self._client.socket()
        if isinstance(sock, ssl.SSLSocket) and sock.pending():
            self._loop.call_soon(self._read)

    def _pause(self) -> None:
        sock = self._client.socket()
        if sock is not None:
            self._loop.remove_reader(sock)
            self._paused = True

    def resume(self) -> None:
        """Read again after `may_read` said no."""
        sock = self._client.socket()
        if self._paused and sock is not None:
            self._paused = False
            self._watch(sock)
            self._loop.call_soon(self._read)

    def acknowledge(self, packet_id: int) -> None:
        """Tell the broker that a QoS 1 message is safe with us.

        Before it has greeted us nothing may be sent; it sends again what it has not heard of, and is told then.
        """
        if self.closed is None and self._greeted:
            self._client.ack(packet_id, 1)
            self._acknowledged.append(packet_id)

    def _ask(self) -> None:
        """Ask for an answer, whatever it says: a broker reads in order, so it has read all acknowledgements before.

        A ping would do, but paho sends none while messages flow. To end a subscription that there is not is answered
        always (3.10.4) and changes nothing.
        """
        if self._acknowledged and self._asked is None and self._subscribed.done() and self.closed is None:
            result, mid = self._client.unsubscribe(NO_FILTER_OF_OURS)
            if result == MQTTErrorCode.MQTT_ERR_SUCCESS and mid is not None:
                self._asked, self._acknowledged = (mid, self._acknowledged), []

    def _answered(self, mid: int) -> None:
        if self._asked is not None and self._asked[0] == mid:
            arrived, self._asked = self._asked[1], None
            self._on_arrived(arrived)

    def _keep_alive(self) -> None:
        """Let paho send its pings. While we do not read we cannot hear the answers, so they are not missed."""
        if self.closed is None:
            if not self._paused:
                self._client.loop_misc()
                self._ask()
            self._misc = self._loop.call_later(1.0, self._keep_alive)

    def _close(self, reason: LinkReason, detail: str) -> None:
        if self.closed is None:
            self.closed = LinkError(reason, detail)
            for future in (self._connected, self._subscribed):
                if not future.done():
                    future.set_exception(self.closed)
                    future.exception()
            self._on_closed()

    @property
    def stood_seconds(self) -> float:
        """How long ago the broker greeted us; infinite when it never did."""
        return self._loop.time() - self._greeted_at if self._greeted else float("inf")

    def close(self) -> None:
        """Leave the broker; it keeps our session."""
        if self._misc is not None:
            self._misc.cancel()
        if self.closed is None:
            self._client.disconnect()
        self._close(LinkReason.LOST, "closed by us")
        client = self._client
        sock = client.socket()
        if sock is not None:
            self._forget(sock)
        # paho calls back once more when it is collected, and the loop may be gone by then.
        client.on_socket_open = client.on_socket_close = None
        client.on_socket_register_write = client.on_socket_unregister_write = None
        if sock is not None:
            sock.close()


def _asking(topic_filter: str, qos: int) -> SubscribeOptions:
    """Ask for nothing that was retained before where the filter is shared (MQTT 5, 3.8.3.1)."""
    shared = topic_filter.startswith("$share/")
    handling = SubscribeOptions.RETAIN_DO_NOT_SEND if shared else SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE
    return SubscribeOptions(qos, retainHandling=handling)


def _ended(code: Any, client_id: str) -> tuple[LinkReason, str]:
    """Say why a link ended, and what to do."""
    if getattr(code, "value", None) == SESSION_TAKEN_OVER:
        return LinkReason.TAKEN_OVER, f"{client_id!r}; {OWN_CLIENT_ID}"
    return LinkReason.LOST, _said(code)


def _said(code: Any) -> str:
    """Give the broker's reason; paho's word for having none is no help to anybody."""
    return "" if str(code) in ("Unspecified error", "Normal disconnection") else str(code)


def _settle(future: asyncio.Future[Any], value: Any) -> None:
    if not future.done():
        future.set_result(value)


def tls_context(tls: Tls) -> ssl.SSLContext:
    """Make the context of a link with TLS.

    Raises:
        LinkError: a certificate file cannot be used.
    """
    try:
        context = ssl.create_default_context(cafile=str(tls.ca_file) if tls.ca_file else None)
        if tls.certificate_file is not None and tls.key_file is not None:
            context.load_cert_chain(tls.certificate_file, tls.key_file)
    except (OSError, ssl.SSLError) as error:
        raise LinkError(LinkReason.TLS, f"certificate files: {error}") from error
    return context
