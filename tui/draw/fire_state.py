"""What the fire does, in a word or two: the phase, or that a steady one is no longer."""

from collector.snapshot import FireView, Phase, Snapshot
from tui.draw.line import Role

__all__ = ["fire_state"]

GOING_KELVIN_PER_HOUR = 8.0
"""Slower than this is the way of a fire held by hand (common practice, no source)."""
SOON_MINUTES = 60.0
"""A limit further off than a split lasts is no news yet."""


def fire_state(snapshot: Snapshot) -> tuple[str, Role]:
    """Name the state of the fire, and how it is to be shown."""
    fire = snapshot.fire
    if fire.phase is not Phase.STEADY:
        return str(fire.phase), "warn" if fire.phase in (Phase.LID_OPEN, Phase.COLD) else "strong"
    if fire.level_celsius < snapshot.low_celsius:
        return ("too low, rising" if _rises(fire) else "too low, fading" if _falls(fire) else "too low"), "warn"
    if fire.level_celsius > snapshot.high_celsius:
        return ("too hot, falling" if _falls(fire) else "too hot"), "warn"
    if fire.limit_side and fire.minutes_to_limit < SOON_MINUTES:
        return ("fading" if fire.limit_side == "low" else "running hot"), "warn"
    return str(fire.phase), "strong"


def _rises(fire: FireView) -> bool:
    return fire.slope_kelvin_per_hour > GOING_KELVIN_PER_HOUR


def _falls(fire: FireView) -> bool:
    return fire.slope_kelvin_per_hour < -GOING_KELVIN_PER_HOUR
