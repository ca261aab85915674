"""What a state, a reason and a number of an alarm are called, in the terminal and on the phone alike."""

from adapters.reading import Reason
from collector.snapshot import AlarmState, FireView, Phase, Priority, Snapshot

__all__ = ["MEANT", "PRIORITY_WORDS", "REASON_WORDS", "SEEN_WORDS", "STATE_WORDS", "WRONG_CLOCK_WORDS", "fire_words"]

STATE_WORDS: dict[AlarmState, str] = {
    AlarmState.NORMAL: "normal",
    AlarmState.UNACKNOWLEDGED: "NOT ACKNOWLEDGED",
    AlarmState.ACKNOWLEDGED: "acknowledged",
    AlarmState.RETURNED: "over, not acknowledged",
    AlarmState.LATCHED_UNACKNOWLEDGED: "latched, not acknowledged",
    AlarmState.LATCHED: "latched, wants a reset",
    AlarmState.SHELVED: "shelved",
    AlarmState.SUPPRESSED: "suppressed",
    AlarmState.OUT_OF_SERVICE: "out of service",
}

PRIORITY_WORDS: dict[Priority, str] = {Priority.URGENT: "URGENT", Priority.SOON: "CHECK", Priority.NOTE: "note"}

REASON_WORDS = {
    Reason.NONE: "doubtful",
    Reason.LAST_KNOWN: "last known value, of unknown age",
    Reason.OFFLINE: "gone, says its source",
    Reason.UNDECODABLE: "unreadable",
    Reason.OUT_OF_RANGE: "outside what it can measure",
    Reason.TOO_FAST: "moves too fast",
    Reason.SPIKE: "spikes",
    Reason.STUCK: "stuck",
    Reason.OPEN_OR_SHORT: "broken or shorted lead",
    Reason.CLOCK_FUTURE: "its clock is ahead",
    Reason.CLOCK_PAST: "an old value, sent late",
    Reason.OUT_OF_ORDER: "sent out of order",
    Reason.DUPLICATE: "sent twice",
    Reason.DISAGREES: "its neighbours disagree",
    Reason.NOT_A_NUMBER: "no value, is it plugged in?",
    Reason.SWAPPED: "changed places with another?",
    Reason.WET: "wet, or touching meat?",
    Reason.DRIFTS: "drifts away",
}
"""Why a value is not good, in a word or two."""

WRONG_CLOCK_WORDS = {
    Reason.CLOCK_FUTURE: "its sender's clock is ahead: taken by the time it came",
    Reason.CLOCK_PAST: "its sender's clock is behind: taken by the time it came",
}
"""What is said of a good value whose sender dates it wrongly."""

MEANT = {
    "cold-spot": "{} below its level's mean",
    "drift": "{} outside its band, now or soon",
    "spread": "{} from hottest to coldest",
    "lid-open": "{} lost",
    "pit-low": "{} below its band",
    "source-silent": "for {}",
    "probe-silent": "for {}",
    "probe-lying": "for {}",
    "battery-low": "{} left",
}
"""What an alarm's number is; a difference alone reads like a temperature."""

NOT_WATCHED = "not watched: no probe near enough"
"""What is said of a zone that the map knows too little of."""

SEEN_WORDS = {"seen-refuel": "refuel seen", "seen-lid": "lid seen", "seen-stall": "fire not picked up"}
"""What the curves themselves show; the text of such a mark says no more."""

GOING_KELVIN_PER_HOUR = 8.0
"""Slower than this is the way of a fire held by hand (common practice, no source)."""
SOON_MINUTES = 60.0
"""A limit further off than a split lasts is no news yet."""


def fire_words(snapshot: Snapshot) -> tuple[str, bool]:
    """Name what the fire does: the phase, or that a steady one is no longer; and whether that wants an eye."""
    fire = snapshot.fire
    if fire.phase is Phase.WARMING and (fire.sinking or fire.level_celsius >= snapshot.low_celsius):
        if fire.sinking:
            return "going out", True
        return ("too hot", True) if fire.level_celsius > snapshot.high_celsius else ("evening out", False)
    if fire.phase is not Phase.STEADY:
        return str(fire.phase), fire.phase in (Phase.LID_OPEN, Phase.COLD, Phase.UNAVAILABLE)
    if fire.level_celsius < snapshot.low_celsius:
        return ("too low, rising" if _rises(fire) else "too low, fading" if _falls(fire) else "too low"), True
    if fire.level_celsius > snapshot.high_celsius:
        return ("too hot, falling" if _falls(fire) else "too hot"), True
    if fire.limit_side and fire.minutes_to_limit < SOON_MINUTES:
        return ("fading" if fire.limit_side == "low" else "running hot"), True
    return str(fire.phase), False


def _rises(fire: FireView) -> bool:
    return fire.slope_kelvin_per_hour > GOING_KELVIN_PER_HOUR


def _falls(fire: FireView) -> bool:
    return fire.slope_kelvin_per_hour < -GOING_KELVIN_PER_HOUR
