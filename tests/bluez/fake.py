"""BlueZ as a program sees it: `org.bluez` on a bus, objects under /org/bluez, one handler for every call."""

import asyncio
from typing import Any, NamedTuple

from dbus_fast import Message, MessageType, RequestNameReply, Variant

from tests.bluez.adapter import Adapter
from tests.bluez.device import Device
from tests.bluez.faults import Fault, Faults
from tests.bluez.gatt import Attribute
from tests.bluez.objects import BUSY, Node, RefusedError
from tests.bluez.wire import PROPERTIES, Wire

__all__ = ["Call", "FakeBluez"]

NAME = "org.bluez"
ERRORS = "org.freedesktop.DBus.Error."
LEFT_TO_LIBRARY = {"org.freedesktop.DBus.Introspectable", "org.freedesktop.DBus.Peer"}


class Call(NamedTuple):
    """One method call that came in."""

    member: str
    path: str
    sender: str


class FakeBluez:
    """A bluetoothd under a test's control, in the test's own event loop.

    Adapters and devices are the world outside and stay when it is stopped; sessions, links and what it knew of
    devices do not. What sends signals (`advertise`, `notify`, ...) returns at once; `await fake.drained()` waits until
    all clients have seen them.

    Attributes:
        nodes, tree: what clients see: the objects, and {path: {interface: {property: value}}}.
        calls: every method call, in order, those that failed or hung too.
        faults: what is to go wrong.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        self.adapters: dict[str, Adapter] = {}
        self.nodes: dict[str, Node] = {}
        self.tree: dict[str, dict[str, dict[str, Variant]]] = {}
        self.calls: list[Call] = []
        self.faults = Faults()
        self._hung: list[Message] = []
        self._timers: list[asyncio.TimerHandle] = []
        self._wire: Wire | None = None

    # --- the daemon's life

    async def start(self) -> "FakeBluez":
        """Own the name; adapters appear, devices only if known. Starts afresh when the bus died meanwhile."""
        await self.stop()
        self._wire = Wire(self.address)
        await self._wire.connect()
        self._wire.bus.add_message_handler(self._on_message)
        self.listen("type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged'")
        reply = await self._wire.bus.request_name(NAME)
        if reply is not RequestNameReply.PRIMARY_OWNER:
            raise RuntimeError(f"{NAME} is taken on {self.address}")
        for adapter in self.adapters.values():
            adapter.insert()
        return self

    async def stop(self, *, announce: bool = False) -> None:
        """Die as bluetoothd does: the name goes; `announce`: say first that every object is removed."""
        if self._wire is None:
            return
        for timer in self._timers:
            timer.cancel()
        self._timers.clear()
        self._hung.clear()
        for adapter in self.adapters.values():
            if announce:
                adapter.remove()
            adapter.forget()
        if announce:
            await self._wire.drained()
        wire, self._wire = self._wire, None
        await wire.close()

    async def restart(self, *, announce: bool = False, down_seconds: float = 0.0) -> None:
        await self.stop(announce=announce)
        await asyncio.sleep(down_seconds)
        await self.start()

    @property
    def running(self) -> bool:
        return self._wire is not None and self._wire.open

    # --- the world

    def add_adapter(self, name: str, **what: Any) -> Adapter:
        """Plug one in; see `Adapter` for address, powered, power_state, roles, advertisement_monitor."""
        adapter = self.adapters[name] = Adapter(self, name, **what)
        if self._wire is not None:
            adapter.publish()
        return adapter

    def links(self) -> list[Device]:
        return [device for adapter in self.adapters.values() for device in adapter.links()]

    def discovering(self) -> list[str]:
        """Name the adapters a discovery runs on."""
        return [name for name, adapter in self.adapters.items() if adapter.discovering]

    def called(self, member: str) -> int:
        """Count the calls of a method so far."""
        return sum(call.member == member for call in self.calls)

    async def drained(self) -> None:
        """Wait until every client on the bus has worked through all signals sent so far."""
        if self._wire is not None:
            await self._wire.drained()

    async def room(self) -> None:
        """Wait until the daemon has taken all signals sent so far; a long burst does so now and then."""
        if self._wire is not None:
            await self._wire.room()

    def release(self) -> None:
        """Carry out the calls that hang."""
        waiting, self._hung = self._hung, []
        for message in waiting:
            self._answer(message)

    # --- for its nodes

    def send(self, message: Message) -> bool:
        return self._wire is not None and self._wire.send(message)

    def listen(self, rule: str) -> None:
        self.send(Wire.to_daemon("AddMatch", "s", [rule]))

    def wire_changed(self, node: Node, changed: dict[str, Variant], gone: list[str]) -> bool:
        return self._wire is not None and self._wire.changed(node.path, node.interface, changed, gone)

    def wire_added(self, path: str, interfaces: dict[str, dict[str, Variant]]) -> None:
        if self._wire is not None:
            self._wire.added(path, interfaces)

    def wire_removed(self, path: str, interfaces: list[str]) -> None:
        if self._wire is not None:
            self._wire.removed(path, interfaces)

    def refuse(self, message: Message, name: str, text: str) -> None:
        """Answer a call with an error."""
        self.send(Message.new_error(message, name, text))

    # --- calls

    def _on_message(self, message: Message) -> bool | None:
        if message.message_type is MessageType.SIGNAL:
            self._on_signal(message)
            return None
        if message.message_type is not MessageType.METHOD_CALL or message.interface in LEFT_TO_LIBRARY:
            return None
        self.calls.append(Call(message.member, message.path, message.sender))
        node = self.nodes.get(message.path)
        if isinstance(node, Device) and message.member == "Connect":
            if node.connecting is not None:
                self.refuse(message, *BUSY)
                return True
            node.connecting = message
        fault = self.faults.take(message.member, message.path)
        if fault is not None:
            self._go_wrong(message, node, fault)
        elif isinstance(node, Attribute) and node.device.muted:
            self._hung.append(message)
        else:
            self._answer(message)
        return True

    def _on_signal(self, message: Message) -> None:
        if message.member == "NameOwnerChanged":
            name, _, owner = message.body
            if not owner and name.startswith(":"):
                for adapter in self.adapters.values():
                    adapter.client_gone(name)
        elif message.member == "InterfacesAdded":
            for adapter in self.adapters.values():
                adapter.monitors.shown(message.sender, *message.body)

    def _go_wrong(self, message: Message, node: Node | None, fault: Fault) -> None:
        if fault.seconds is not None:
            self._timers.append(asyncio.get_running_loop().call_later(fault.seconds, self._answer, message))
        elif fault.error is None:
            self._hung.append(message)
        else:
            if isinstance(node, Device) and message.member == "Connect":
                node.connecting = None
                if fault.flicker:
                    node.change({"Connected": Variant("b", True)})
                    node.change({"Connected": Variant("b", False)})
            self.refuse(message, *fault.error)

    def _answer(self, message: Message) -> None:
        node = self.nodes.get(message.path)
        if message.member == "Connect" and isinstance(node, Device) and node.connecting is not message:
            return  # Disconnect has cancelled it meanwhile, and it was told so
        try:
            answer = self._carry_out(message)
        except RefusedError as refusal:
            self.refuse(message, refusal.name, refusal.text)
        else:
            signature, body = answer or ("", [])
            self.send(Message.new_method_return(message, signature, body))

    def _carry_out(self, message: Message) -> tuple[str, list[Any]] | None:
        if message.member == "GetManagedObjects" and message.path == "/":
            return "a{oa{sa{sv}}}", [self.tree]
        node = self.nodes.get(message.path)
        if node is None:
            raise RefusedError(ERRORS + "UnknownObject", f"No object at {message.path}")
        if message.interface == PROPERTIES:
            return self._property(node, message)
        method = node.methods.get(message.member)
        if method is None or (message.interface and message.interface not in node.interfaces):
            raise RefusedError(
                ERRORS + "UnknownMethod", f'Method "{message.member}" on "{message.interface}" doesn\'t exist'
            )
        return method(message)

    @staticmethod
    def _property(node: Node, message: Message) -> tuple[str, list[Any]] | None:
        properties = node.interfaces.get(message.body[0])
        if properties is None:
            raise RefusedError(ERRORS + "InvalidArgs", f"No such interface '{message.body[0]}'")
        if message.member == "GetAll":
            return "a{sv}", [properties]
        name = message.body[1]
        if name not in properties:
            raise RefusedError(ERRORS + "InvalidArgs", f"No such property '{name}'")
        if message.member == "Get":
            return "v", [properties[name]]
        if isinstance(node, Adapter):
            node.set_property(name, message.body[2])
        else:
            node.change({name: message.body[2]})
        return None
