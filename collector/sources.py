"""From the config's source tables to sources that run. The only place that knows which adapter is behind a kind."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from adapters.errors import SourceConfigError
from adapters.source import Source
from collector.brokers import address_of
from collector.errors import Problem, SettingsError
from collector.model.plan import GRATE, Plan, Probe
from collector.settings.bluetooth import bind_key, passive_patterns
from collector.settings.load import Settings
from collector.settings.shape import BleSource, MqttSource, RecordingSource, RehearsalSource
from collector.settings.sources import reader_of

if TYPE_CHECKING:
    from adapters.ble.radio import Radio
    from adapters.rehearsal.source import RehearsalPit

__all__ = ["build_sources", "playback_speed", "rehearsal_of"]


def playback_speed(settings: Settings) -> float:
    """Tell how much faster than the clock the config's sources run: 1 unless all are recordings or rehearsals.

    Raises:
        SettingsError: sources of different speed; the cook's time can only run at one.
    """
    speeds = {getattr(table, "speed", 1.0) for table in settings.config.source}
    if len(speeds) > 1:
        what = f"sources run at different speeds ({', '.join(f'{s:g}' for s in sorted(speeds))}); give all the same"
        raise SettingsError(settings.path, [Problem(0, "source.speed", what)])
    return float(speeds.pop())


def build_sources(settings: Settings, clock: Callable[[], float], start_unix: float) -> list[Source]:
    """Make the sources of a config.

    Args:
        settings: the config.
        clock: tells Unix seconds UTC.
        start_unix: when a recording or a rehearsal begins.

    Raises:
        SettingsError: a source cannot be made.
    """
    built: list[Source] = []
    radios: dict[str, Radio] = {}
    for index, table in enumerate(settings.config.source):
        try:
            if isinstance(table, BleSource):
                built.append(_device(settings, table, radios, clock))
            else:
                built.append(_build(settings, table, clock, start_unix))
        except (OSError, ValueError, SourceConfigError) as error:
            raise SettingsError(settings.path, [Problem(0, f"source.{index + 1}", str(error))]) from error
    return built


def _build(
    settings: Settings,
    table: MqttSource | RecordingSource | RehearsalSource,
    clock: Callable[[], float],
    start_unix: float,
) -> Source:
    here = settings.path.parent
    if isinstance(table, MqttSource):
        return _broker(settings, table, clock)
    if isinstance(table, RecordingSource):
        from adapters.recording import Recording

        return Recording(table.name, here / table.file, speed=table.speed, loop=table.loop, start_unix=start_unix)
    probes = [p for p in settings.plan.probes if p.source == table.name]
    return rehearsal_of(settings.plan, probes, table.name, seed=table.seed, speed=table.speed, start_unix=start_unix)


def _broker(settings: Settings, table: MqttSource, clock: Callable[[], float]) -> Source:
    from adapters.mqtt.options import Availability, BrokerOptions, Subscription
    from adapters.mqtt.sharing import SHARED_EXPIRY_SECONDS
    from adapters.mqtt.source import MqttSource as Broker

    reached = address_of(table, settings.path.parent)
    options = BrokerOptions(
        table.name,
        reached.host,
        tuple(Subscription(s.filter, s.qos, reader_of(s)) for s in table.subscribe),
        reached.port,
        reached.version_5,
        reached.user,
        reached.password,
        reached.tls,
        reached.client_id,
        tuple(Availability(a.topic, a.online.encode(), a.offline.encode(), a.keys) for a in table.availability),
    )
    if table.share:
        options = replace(options, share=table.share, session_expiry_seconds=SHARED_EXPIRY_SECONDS)
    expected = [p.key for p in settings.plan.probes if p.source == table.name]
    return Broker(options, expected, clock=clock)


def _device(settings: Settings, table: BleSource, radios: "dict[str, Radio]", clock: Callable[[], float]) -> Source:
    """Make the source of a Bluetooth device, on the one radio of its adapter."""
    from adapters.ble.options import DeviceOptions, Match
    from adapters.ble.source import BleSource as Device
    from adapters.decode.described import Described
    from adapters.decode.gatt import full_uuid

    config = settings.config
    if table.adapter not in radios:
        radios[table.adapter] = _radio(settings, table.adapter, clock)
    match = Match(table.address.lower(), table.device, full_uuid(table.service) if table.service else "", table.company)
    keyless = [p.name for p in config.probe if p.source == table.name and not p.key]
    options = DeviceOptions(
        table.name,
        match,
        Described(table.layout, config.layout[table.layout]) if table.layout else None,
        table.read,
        bind_key(table, settings.path.parent),
        keyless[0] if len(keyless) == 1 else "",
        table.clock,
        table.quiet,
        table.notify_by == "socket",
    )
    return Device(options, radios[table.adapter], clock=clock)


def _radio(settings: Settings, adapter: str, clock: Callable[[], float]) -> "Radio":
    from adapters.ble.options import RadioOptions
    from adapters.ble.radio import Radio
    from adapters.decode.described import Described

    config = settings.config
    patterns: list[tuple[int, bytes]] = []
    if config.bluetooth.passive:
        for table in config.source:
            if isinstance(table, BleSource) and table.adapter == adapter:
                described = Described(table.layout, config.layout[table.layout]) if table.layout else None
                patterns += passive_patterns(table, described)
    return Radio(RadioOptions(adapter, config.bluetooth.slots, tuple(dict.fromkeys(patterns))), clock=clock)


def rehearsal_of(
    plan: Plan, probes: Sequence[Probe], name: str, *, seed: int, speed: float, start_unix: float
) -> "RehearsalPit":
    """Make a simulated pit with a plan's chamber and some of its probes.

    Args:
        plan: whose chamber and target to simulate.
        probes: which probes send.
        name: of the source.
        seed: which night.
        speed: how fast.
        start_unix: when it begins.
    """
    from adapters.rehearsal.pit import Pit, RehearsalProbe
    from adapters.rehearsal.source import RehearsalPit

    chamber = plan.chamber
    tips = [RehearsalProbe(p.key, p.duty, p.level or GRATE, p.x_m or 0.0, p.y_m or 0.0) for p in probes]
    pit = Pit(length_m=chamber.length_m, width_m=chamber.width_m)
    return RehearsalPit(
        name, tips, seed=seed, speed=speed, start_unix=start_unix, pit=pit, target_celsius=plan.target_celsius
    )
