"""The pit under test: sixteen probes on one grate, as a config of coldside and as a plan."""

import tempfile
from pathlib import Path

import numpy as np

from collector.model.plan import Plan
from collector.settings.load import parse

__all__ = ["PLACES_M", "config_text", "plan_of", "scratch"]

PLACES_M = tuple((0.08 + 0.148 * (k % 8), 0.12 + 0.26 * (k // 8) + 0.02 * (k % 3)) for k in range(16))
"""Along and across, metres."""

_HEAD = """
[chamber]
length = 120
width = 50
unit = "cm"
[cook]
target = "113 C"
band = "14 K"
[[zone]]
name = "fire"
x = [0, 40]
y = [0, 50]
[[zone]]
name = "middle"
x = [40, 80]
y = [0, 50]
[[zone]]
name = "flat"
x = [80, 120]
y = [0, 50]
"""
_MQTT = """
[[source]]
name = "house"
kind = "mqtt"
host = "127.0.0.1"
port = {port}
version = "{version}"
client_id = "bench-{prefix}"
subscribe = [{{ filter = "{prefix}/+", qos = {qos}, payload = "json", value = "/t", key = "level 2" }}]
"""
_REHEARSAL = """
[[source]]
name = "house"
kind = "rehearsal"
speed = {speed}
"""


def _probes() -> str:
    return "".join(
        f'[[probe]]\nname = "p{k}"\nsource = "house"\nx = {100 * x:.1f}\ny = {100 * y:.1f}\n'
        for k, (x, y) in enumerate(PLACES_M)
    )


def config_text(port: int = 1883, *, qos: int = 1, version: str = "5", prefix: str = "pit", speed: float = 0) -> str:
    """Write a config: a broker's probes, or with a `speed` those of a rehearsal."""
    source = (
        _REHEARSAL.format(speed=speed) if speed else _MQTT.format(port=port, qos=qos, version=version, prefix=prefix)
    )
    return _HEAD + source + _probes()


def plan_of() -> Plan:
    """Give the plan of that config."""
    return parse(config_text(), Path("bench.toml")).plan


def values_of(readings: int, seed: int = 1) -> "np.ndarray":
    """Temperatures as a pit gives them, shape (readings, 16), degrees Celsius in tenths: a slow swing and noise."""
    random = np.random.default_rng(seed)
    t = np.arange(readings)[:, None]
    swing = 4 * np.sin(t / 420 + np.arange(16)) + np.linspace(8, -8, 16)
    return np.round(113 + swing + random.normal(0, 0.3, (readings, 16)), 1)


def scratch() -> "tempfile.TemporaryDirectory[str]":
    """Make a folder on the disk for the time of one measurement."""
    return tempfile.TemporaryDirectory(prefix="coldside-bench-")
