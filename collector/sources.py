"""From the config's source tables to sources that run. The only place that knows which adapter is behind a kind."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from adapters.reading import Unit
from adapters.source import Source
from collector.errors import Problem, SettingsError
from collector.model.plan import GRATE, Plan, Probe
from collector.settings.load import Settings
from collector.settings.shape import MqttSource, RecordingSource, RehearsalSource
from collector.settings.sources import secret_file

if TYPE_CHECKING:
    from adapters.rehearsal.source import RehearsalPit

__all__ = ["build_sources", "playback_speed", "rehearsal_of"]

_UNITS = {"C": Unit.CELSIUS, "F": Unit.FAHRENHEIT, "K": Unit.KELVIN}


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
    for index, table in enumerate(settings.config.source):
        try:
            built.append(_build(settings, table, clock, start_unix))
        except (OSError, ValueError) as error:
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
    from adapters.decode.mqtt_payload import PayloadReader
    from adapters.mqtt.options import Availability, BrokerOptions, Subscription, Tls
    from adapters.mqtt.source import MqttSource as Broker

    here = settings.path.parent

    def file(name: str) -> Path | None:
        return here / name if name else None

    subscriptions = tuple(
        Subscription(
            s.filter,
            s.qos,
            PayloadReader(
                s.payload, value=s.value, unit=_UNITS[s.unit], unit_pointer=s.unit_pointer,
                time_pointer=s.time_pointer, key=s.key,
            ),
        )
        for s in table.subscribe
    )  # fmt: skip
    options = BrokerOptions(
        table.name,
        table.host,
        subscriptions,
        table.port or (8883 if table.tls else 1883),
        table.version == "5",
        table.user or None,
        _secret(here, table.password_file),
        Tls(file(table.ca_file), file(table.certificate_file), file(table.key_file)) if table.tls else None,
        table.client_id,
        tuple(Availability(a.topic, a.online.encode(), a.offline.encode(), a.keys) for a in table.availability),
    )
    expected = [p.key for p in settings.plan.probes if p.source == table.name]
    return Broker(options, expected, clock=clock)


def _secret(here: Path, name: str) -> str | None:
    """Read a password from its file, or from the credentials the service manager hands over."""
    if not name:
        return None
    return secret_file(here, name).read_text(encoding="utf-8").rstrip("\n")


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
