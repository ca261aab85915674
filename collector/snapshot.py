"""Everything a screen needs, at one moment, as plain frozen values.

Degrees Celsius, kelvin for differences, metres, Unix seconds UTC. NaN is a number not known, None a time or a place
that does not exist. The engine makes it; screens, the phone page and `coldside status` only read it.
"""

import enum

import msgspec

from adapters.reading import Quality, Reason
from adapters.source import LinkState
from collector.model.calibration import Line
from collector.model.meat.piece import Piece

__all__ = [
    "CALLING",
    "UNKNOWN_ARRIVAL",
    "AheadView",
    "AlarmState",
    "AlarmView",
    "ArrivalView",
    "CallView",
    "CallsView",
    "ChamberView",
    "EvennessView",
    "FaultView",
    "FieldView",
    "FireView",
    "KitchenView",
    "Mark",
    "MeatView",
    "PartView",
    "PatchView",
    "Phase",
    "PlaceView",
    "Priority",
    "ProbeView",
    "RuleView",
    "Snapshot",
    "SourceView",
    "SpotView",
    "StoreView",
    "ToldView",
    "TrendPoint",
    "TrendStretch",
    "TroubleView",
    "Verdict",
    "ZoneView",
]


class Phase(enum.StrEnum):
    """Where the fire is in the night."""

    UNKNOWN = "nothing heard"
    """No probe of the grate tells anything."""
    COLD = "cold"
    """Nothing is hot yet."""
    WARMING = "warming up"
    STEADY = "steady"
    LID_OPEN = "lid open"
    """The lid is open, or was and the chamber has not come back yet."""
    UNAVAILABLE = "not available"
    """The part of coldside that watches the fire has failed; see `Snapshot.faults`."""


class AlarmState(enum.StrEnum):
    """States of an alarm after ISA-18.2 / IEC 62682."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched unacknowledged"
    """Of a rule that latches: the condition is over, nobody has seen it."""
    LATCHED = "latched acknowledged"
    """The condition is over and was seen; it waits to be reset."""
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


CALLING = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED, AlarmState.LATCHED_UNACKNOWLEDGED)
"""States in which an alarm waits for somebody."""


class Priority(enum.IntEnum):
    """How soon somebody must act; 1 wakes the cook at once."""

    URGENT = 1
    SOON = 2
    NOTE = 3


class ChamberView(msgspec.Struct, frozen=True):
    """The cook chamber: x runs along the pit from the fire end, y across it from the back to the door."""

    name: str
    shape: str
    """`cylinder` or `box`."""
    length_m: float
    width_m: float
    """Across, at the grate."""
    levels: tuple[str, ...]
    """Names of the levels that carry probes, the grate first."""
    fire_side: str = "left"
    """Where the firebox stands when the cook looks at the door: the end drawn on that side."""


class ProbeView(msgspec.Struct, frozen=True):
    """One probe as it stands."""

    name: str
    duty: str
    """`chamber`, `meat` or `ambient`."""
    level: str | None
    """Level of a chamber probe, or of the meat it stands in."""
    x_m: float | None
    y_m: float | None
    celsius: float
    """Newest value, calibration applied. NaN when none was ever heard or it is offline."""
    quality: Quality
    reason: Reason
    heard_unix: float | None
    """When it was last heard, good or not."""
    trend_kelvin_per_hour: float
    """Slope over the last 15 min; NaN when there is too little to tell."""
    silent: bool
    """Not heard for longer than its own limit."""
    used: bool
    """Takes part in zones and map now."""
    target_celsius: float = float("nan")
    """Where a meat probe is meant to arrive."""
    raw_celsius: float = float("nan")
    """Newest value as it came in."""
    sd_kelvin: float = float("nan")
    """Standard deviation of what it may be off by: from its calibration, else as the config states."""
    calibrated_unix: float | None = None
    """When it was last calibrated; None where it never was."""
    line: Line | None = None
    """Its calibration."""
    tolerance_class: str = ""
    """Class its maker states."""


class ZoneView(msgspec.Struct, frozen=True):
    """A named region of a level."""

    name: str
    level: str
    x0_m: float
    x1_m: float
    y0_m: float
    y1_m: float
    celsius: float
    """Mean of its probes that are used; of the map where it has none. NaN when unknown."""
    sd_kelvin: float
    """Standard deviation of that mean: tolerance of the probes, or of the map."""
    deviation_kelvin: float
    """Zone less the mean of its whole level, both from the field."""
    trend_kelvin_per_hour: float
    probes: int
    """How many of its probes are used now."""
    cold_dose_kelvin_minutes: float
    """Degree-minutes below the band since the fire was steady."""
    watched: bool = True
    """The map knows enough of it to tell a deficit at the limit of its alarm from none."""


class PlaceView(msgspec.Struct, frozen=True):
    """One place of a level on the map."""

    x_m: float
    y_m: float
    celsius: float
    sd_kelvin: float


class PatchView(msgspec.Struct, frozen=True):
    """A place of the chamber that has changed against what is usual: a bump of the field, with the odds of it."""

    x_m: float
    y_m: float
    reach_x_m: float
    reach_y_m: float
    """One standard deviation of the bump."""
    kelvin: float
    share: float
    """How likely it is, among all explanations, 0 to 1."""


class FieldView(msgspec.Struct, frozen=True):
    """The solved map of one level; `collector.model.chamber.model_of` turns it into a grid of any size."""

    level: str
    drawn: int
    """Number of this level among `levels`."""
    x_m: tuple[float, ...]
    y_m: tuple[float, ...]
    """Places of the probes it rests on, of all levels."""
    levels: tuple[int, ...]
    """Level of each."""
    celsius: tuple[float, ...]
    """Their values, less what the patches put there."""
    noise_kelvin: tuple[float, ...]
    """Their tolerances, as standard deviations."""
    sigma_kelvin: tuple[float, ...]
    """Standard deviation of the field about its trend, of each level."""
    length_x_m: float
    length_y_m: float
    level_correlation: float
    rough_kelvin: float
    walls_kelvin: float
    slope_kelvin_per_m: float
    patches: tuple[PatchView, ...]
    """What is added to the field."""
    coldest: PlaceView
    hottest: PlaceView
    difference_sd_kelvin: float
    """Standard deviation of the difference between these two places."""
    firebox_kelvin: float = 0.0
    """Standard deviation of what the firebox adds at its wall; 0: no such term."""


class EvennessView(msgspec.Struct, frozen=True):
    """How even the chamber is; see `collector.model.evenness` for the definitions."""

    spread_kelvin: float
    """Hottest zone less coldest, at the grate."""
    gradient_kelvin: float
    """Greatest difference between the 30-minute means of two places at the grate (IEC 60068-3-5)."""
    along_kelvin: float
    """Fire end less stack end along the straight line through the grate probes."""
    top_to_grate_kelvin: float
    fluctuation_kelvin: float
    """Greatest swing of one place at the grate in 30 minutes (IEC 60068-3-5)."""


class FireView(msgspec.Struct, frozen=True):
    """The fire as the chamber shows it."""

    phase: Phase
    level_celsius: float
    """Median of the grate, smoothed over a minute."""
    slope_kelvin_per_hour: float
    """Robust slope of the grate over a window longer than the refuel cycle."""
    slope_low: float
    slope_high: float
    """95 % interval of the slope."""
    minutes_to_limit: float
    """Until the level leaves the band as it goes now; NaN when it does not."""
    lid_open_unix: float | None
    """Since when the lid stands open; None while it is shut."""
    last_refuel_unix: float | None
    refuel_period_seconds: float
    """Median time between refuels; NaN until two intervals are known."""
    refuel_due_unix: float | None
    """When the next split is due by that rhythm, it may lie behind us; None until there is one."""
    lid_openings: int
    refuels: int
    limit_side: str
    """Which edge of the band it will leave it by, `low` or `high`; empty when it does not."""
    sinking: bool = False
    """It goes out before the pit was hot."""


class AlarmView(msgspec.Struct, frozen=True):
    """One alarm that is not normal."""

    key: str
    """Rule and subject: `cold-spot/flat side`. Stable over the cook; what acknowledge and shelve name."""
    rule: str
    subject: str
    priority: Priority
    state: AlarmState
    active: bool
    """The condition stands now."""
    since_unix: float
    """When the condition began, before its on-delay."""
    raised_unix: float
    """When it became an alarm."""
    value: float
    limit: float
    unit: str
    """What value and limit are: `celsius`, `kelvin`, `kelvin_per_hour` or `seconds`."""
    message: str
    """What stands and what to look at, without numbers that change by unit."""
    shelved_until_unix: float | None = None
    removed_unix: float | None = None
    """Since when it is out of service by a person's hand."""


class TroubleView(msgspec.Struct, frozen=True):
    """What is wrong, once: the alarms that one cause has raised."""

    key: str
    """Stable while it lasts: `fire`, `lid`, `cold`, `uneven`, `source/NAME`, `probe/NAME` or `battery/SOURCE`; what
    acknowledge may name in place of an alarm."""
    priority: Priority
    """Of its most pressing alarm."""
    state: AlarmState
    """Of its worst alarm: unacknowledged before returned before acknowledged."""
    active: bool
    """The condition of one of its alarms stands now."""
    since_unix: float
    """When the first of their conditions began."""
    title: str
    """`2 zones run cold: flat side, middle`."""
    what: str
    """What to look at, without numbers; empty when there is nothing to say."""
    value: float
    """Of the leading alarm."""
    limit: float
    unit: str
    alarms: tuple[str, ...]
    """Keys of its alarms, the leading one first."""


class FaultView(msgspec.Struct, frozen=True):
    """A part of coldside that fails now: what it would show is not available."""

    part: str
    critical: bool
    """The safety of the night depends on it."""
    count: int
    """How often it has failed since the collector started."""
    since_unix: float
    last_unix: float
    error: str
    """Kind of the error and the line of code that raised it."""
    good_unix: float | None = None
    """When the value that is shown instead was built; None where none is shown."""


class RuleView(msgspec.Struct, frozen=True):
    """One rule applied to one subject, whether it is an alarm now or not; told only to whoever asks."""

    key: str
    rule: str
    subject: str
    priority: Priority
    state: AlarmState
    active: bool
    value: float
    """As it is now, NaN when it cannot be told."""
    limit: float
    distance: float
    """What is left until the limit; below zero beyond it."""
    unit: str
    deadband: float
    on_delay_seconds: float
    off_delay_seconds: float
    pending_unix: float | None
    """Since when the value is beyond the limit while the on-delay runs."""
    since_unix: float | None
    """Since when the condition stands."""
    suppressed: tuple[str, ...]
    """Why it is suppressed by design now."""
    shelved_until_unix: float | None
    removed_unix: float | None
    """Since when it is out of service by a person's hand."""
    enabled: bool
    """False: switched off in the config."""
    latch: bool
    shelve_at_most_seconds: float
    own_celsius: tuple[float, ...] = ()
    """The temperatures of its own that its subject is judged by; empty where `limit` holds for all."""


class SourceView(msgspec.Struct, frozen=True):
    """One source and its link."""

    name: str
    kind: str
    state: LinkState
    why: str
    """Empty while it is up."""
    heard: int
    dropped: int
    undecodable: int
    last_heard_unix: float | None
    restarts: int = 0
    unplaced: tuple[str, ...] = ()
    """Keys it names that no probe of the config claims; recorded all the same."""
    last_error: str = ""
    """What could not be read last, and why. Holds bytes of strangers: cleaned before it is shown."""
    perhaps_twice: int = 0
    """Messages that may be on record twice, since their broker gives packet ids again."""
    skipped: int = 0
    """Packets of another kind than the device's layout describes."""
    rssi_dbm: int | None = None
    """Signal strength of a radio device. None when there is no radio, or it is not known."""
    battery_percent: float | None = None
    packets_per_minute: float | None = None


class KitchenView(msgspec.Struct, frozen=True):
    """How far the server's copy of the record goes."""

    where: str
    level_unix: float | None
    """Time of the newest that it was brought since the collector started; None: nothing yet."""
    fault: str
    """Why it is not brought anything now; empty while it is."""


class StoreView(msgspec.Struct, frozen=True):
    """What is safe on disk."""

    path: str
    unsaved: int
    """Readings taken but not yet committed."""
    last_commit_unix: float | None
    fault: str
    """Empty while the disk takes what it is given."""
    throwaway: bool = False
    """A rehearsal's or demo's store, gone at the end."""
    kitchen: KitchenView | None = None
    """None where no server is told of the record."""


class Verdict(enum.StrEnum):
    """What the cook said of an event that the curves show."""

    CONFIRMED = "confirmed"
    DELETED = "deleted"


class Mark(msgspec.Struct, frozen=True):
    """Something the cook did or saw, or an event that the curves show."""

    time_unix: float
    kind: str
    """`note`, `split`, `lid`, `spritz`, `wrap`, `turned`, `moved`, or `seen-lid`, `seen-refuel` and `seen-stall`."""
    text: str = ""
    event: str = ""
    """Identity of an event that the curves show, `refuel/20231114T221320Z`: what confirm and delete name. Empty for
    what the cook marked himself."""
    verdict: Verdict | None = None
    """What the cook said of the event; None while he said nothing."""
    since_unix: float | None = None
    """Of a stall: when the fire was last seen to pick up."""


class TrendPoint(msgspec.Struct, frozen=True):
    """One row of the trend: zones in the order of `Snapshot.zones`, probes in that of `Snapshot.probes`."""

    time_unix: float
    zones: tuple[float, ...]
    spread_kelvin: float
    grate_celsius: float
    probes: tuple[float, ...] = ()


class TrendStretch(msgspec.Struct, frozen=True):
    """Rows of the trend one after the other, oldest first, as long as zones and probes stay the same.

    Read by `collector.store.trend`; a gap is a missing stretch of time.
    """

    zones: int
    """How many there are."""
    times: bytes
    """Unix seconds, little-endian float64, shape (n,)."""
    rows: bytes
    """Little-endian float32, shape (n, 2 + zones + probes): grate, spread, zones, probes."""

    def __post_init__(self) -> None:
        """Refuse what is no such rows; on the way from a collector it is a message that cannot be read.

        Raises:
            ValueError: the lengths do not go together.
        """
        count, odd = divmod(len(self.times), 8)
        numbers, left = divmod(len(self.rows), 4 * max(1, count))
        if not count or odd or left or not 0 <= self.zones <= numbers - 2:
            raise ValueError(f"{len(self.times)} and {len(self.rows)} bytes are no rows with {self.zones} zones")


class ArrivalView(msgspec.Struct, frozen=True):
    """When a part, or a piece, is expected at a temperature."""

    low_unix: float
    """A tenth of such cooks is there by then."""
    median_unix: float
    high_unix: float
    """Nine tenths are; infinite where it does not come with the air as it is, NaN while it cannot be known."""
    why: str = ""
    """Why it cannot be known yet, or will not come; of one that is known, how old it is where it is not of now."""


UNKNOWN_ARRIVAL = ArrivalView(float("nan"), float("nan"), float("nan"))


class AheadView(msgspec.Struct, frozen=True):
    """The temperature a part is expected to have at a time ahead."""

    time_unix: float
    low_celsius: float
    median_celsius: float
    high_celsius: float


class PartView(msgspec.Struct, frozen=True):
    """A part of a piece of meat."""

    name: str
    probe: str
    celsius: float
    """As its probe last said and is believed; NaN where it is not."""
    air_celsius: float
    """Of the zone it lies in."""
    zone: str
    """Empty where it lies in none."""
    wrap_celsius: float
    done_celsius: float
    wrap: ArrivalView
    done: ArrivalView
    ahead: tuple[AheadView, ...]
    stall_began_unix: float | None
    stall_ended_unix: float | None
    stall_celsius: float
    wet_bulb_celsius: float
    """What evaporation alone would hold in this air."""
    wrap_gain_seconds: float
    """How much earlier it would be done if it were wrapped now; NaN: cannot be told."""
    danger_seconds: float
    """Within 41 to 135 °F since it went on, on the fire and off."""
    log_reduction: float
    """Decimal logarithms of Salmonella by the table of its species and cut, at the probe's tip; NaN: no table here."""
    danger_off_fire_seconds: float = float("nan")
    """Of `danger_seconds`, while it was on no fire."""
    come_up_seconds: float = float("nan")
    """Within 50 to 130 °F on the fire."""


class SpotView(msgspec.Struct, frozen=True):
    """A reading by hand, or a score of a bread test, and where it was taken."""

    time_unix: float
    kind: str
    """`spot` or `bread`."""
    where: str
    """Part of a piece, zone, or whatever the cook calls the place."""
    x_m: float | None
    y_m: float | None
    """None where the place has none."""
    value: float
    """Degrees Celsius; of a bread test how brown, 1 to 5."""


class MeatView(msgspec.Struct, frozen=True):
    """One piece of meat."""

    name: str
    cut: str
    mass_kg: float | None
    phase: str
    """See `collector.model.meat.piece.MeatPhase`."""
    since_unix: float
    on_unix: float | None
    place: tuple[float, float, float, float] | None
    """Where it lies on the grate, metres: x from and to, y from and to; None: not said."""
    parts: tuple[PartView, ...]
    done: ArrivalView
    """Of its slowest part."""
    serve_unix: float | None
    plan: tuple[tuple[str, float], ...]
    """What has to have happened by when, so that it is served in time."""
    late_seconds: float
    """How much too late it is expected; less than nothing: in hand; NaN: no time to serve, or not known."""
    air_needed_celsius: float
    """The air in which it would be in time; NaN: none would, or it is in time."""
    hold_celsius: float
    held_seconds: float
    hold_trend_kelvin_per_hour: float
    cool_due_unix: float | None
    """By when this stage of cooling must be over."""
    intact: bool | None
    advice: tuple[str, ...]
    """What the trade does about what is seen; the cook decides."""
    cooling: str = "food-code"
    """Whose limits it is cooled by; see `collector.model.meat.cooling.CoolingRule`."""
    did: tuple[tuple[str, float], ...] = ()
    """What of the plan is done, and when."""
    described: Piece | None = None
    """As the cook describes it, for whoever changes that."""


class ToldView(msgspec.Struct, frozen=True):
    """What one person was sent of a call by one channel."""

    person: str
    channel: str
    sent_unix: tuple[float, ...]
    """When the channel took a message, the newest four. Sent is not delivered, and delivered is not woken."""
    waiting: bool
    """A message has not gone out yet."""
    error: str
    """Why the last try failed, or why the message was given up; empty where the channel took it."""


class CallView(msgspec.Struct, frozen=True):
    """A trouble of which somebody is being told."""

    number: int
    trouble: str
    """`test` for a test."""
    began_unix: float
    told: tuple[ToldView, ...]
    held: tuple[str, ...] = ()
    """People whom quiet hours keep from being told."""
    acknowledged_unix: float | None = None
    """Of a test: when somebody acknowledged it."""


class CallsView(msgspec.Struct, frozen=True):
    """How people are told of troubles."""

    open: tuple[CallView, ...] = ()
    """Calls that nobody has acknowledged."""
    test: CallView | None = None
    """The newest test since the collector started."""
    waiting: int = 0
    """Messages that have not gone out."""
    oldest_unix: float | None = None
    """Since when the first of them waits; None where none does."""
    faults: tuple[tuple[str, str], ...] = ()
    """Channels that did not take the last message, and why."""
    proven_unix: float | None = None
    """When somebody last acknowledged a test; None: never."""


class Snapshot(msgspec.Struct, frozen=True):
    """The cook at one moment."""

    now_unix: float
    cook: str
    started_unix: float
    chamber: ChamberView
    target_celsius: float
    low_celsius: float
    high_celsius: float
    """The band around the target."""
    probes: tuple[ProbeView, ...]
    zones: tuple[ZoneView, ...]
    fields: tuple[FieldView, ...]
    evenness: EvennessView
    fire: FireView
    alarms: tuple[AlarmView, ...]
    """Every alarm that is not normal, the most pressing first; those shelved or taken out of service too."""
    marks: tuple[Mark, ...] = ()
    """The newest 200, oldest first; deleted ones too."""
    sources: tuple[SourceView, ...] = ()
    """Filled in by the daemon: the engine knows no sources."""
    store: StoreView = msgspec.field(default_factory=lambda: StoreView("", 0, None, ""))
    speed: float = 1.0
    """Seconds of the cook per second of the viewer: 1 unless a recording is played faster."""
    troubles: tuple[TroubleView, ...] = ()
    """The alarms that are neither shelved nor out of service, by what is wrong, the most pressing first."""
    calls: CallsView | None = None
    """Filled in by the daemon; None where nobody is told of anything."""
    meat: tuple[MeatView, ...] = ()
    spots: tuple[SpotView, ...] = ()
    """The newest 200 readings by hand, oldest first."""
    faults: tuple[FaultView, ...] = ()
    """Parts of coldside that fail now, critical ones first."""
