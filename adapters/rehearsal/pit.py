"""What a rehearsed pit is made of: chamber, fire habit, weather, meat and probes, as plain frozen values.

x runs along the grate from the fire end, y across it from the back to the door, both in metres. The default numbers
belong to a 1.2 m cylinder of 5 mm steel with a firebox on its side; they were tuned until the pit behaves as cooks
say such a pit behaves (common practice, no source): the fire end of the grate 20-30 °F hotter than the stack end,
the air under the lid far hotter than at the grate, the more so the higher the stack begins.
"""

import msgspec

__all__ = ["Bump", "FireHabit", "Flesh", "Meat", "Pattern", "Pit", "RehearsalProbe", "Weather"]


class Bump(msgspec.Struct, frozen=True):
    """A place of the grate that is always hotter or colder than the air around it; reaches are standard deviations."""

    x_m: float
    y_m: float
    reach_x_m: float
    reach_y_m: float
    kelvin: float


class Pattern(msgspec.Struct, frozen=True):
    """How a grate differs from place to place beyond what the chamber's own balance gives, in a hot pit."""

    bumps: tuple[Bump, ...] = ()
    fire_end_kelvin: float = 0.0
    """At the plate of that end; dies away with `wall_reach_m`, as do the next three."""
    stack_end_kelvin: float = 0.0
    back_kelvin: float = 0.0
    door_kelvin: float = 0.0
    wall_reach_m: float = 0.1
    tilt_kelvin: float = 0.0
    """What the baffle's plates add at the stack end and take at the fire end: twice this from end to end."""
    flare_share: float = 0.0
    """How much of the bumps follows the fire: 1 makes them nothing over a dead one."""
    usual_fire_kelvin: float = 300.0
    """Firebox over the air outside at which the bumps have their size."""
    gust_kelvin: float = 0.0
    """How much colder the stack end gets for each m/s of a gust; below zero it is the fire end."""


class Pit(msgspec.Struct, frozen=True):
    """The steel: lengths in metres, heat capacities in J/K, conductances in W/K, for the whole chamber."""

    length_m: float = 1.20
    width_m: float = 0.50
    stack_inlet_m: float = 0.0
    """Height of the stack's lower end over the grate: `lid_m` is high up, 0 at grate level."""
    lid_m: float = 0.25
    """Height of the lid over the grate."""
    stack_pipe_m: float = 0.75
    """Length of the stack; its top is `stack_inlet_m` + this over the grate."""
    firebox_capacity: float = 28_000.0
    firebox_loss: float = 8.0
    air_capacity: float = 6_000.0
    """Air of each level together with the thin metal that follows it (grates, shelf, inner skin)."""
    wall_capacity: float = 26_000.0
    """Half of the shell: the part beside each level."""
    inner_conductance: float = 26.0
    """Air to wall, each level."""
    outer_conductance: float = 7.5
    """Wall to the outside in still air, each level."""
    mixing: float = 4.0
    """Between the two levels, without net flow."""
    axial_mixing: float = 80.0
    """Between neighbouring twelfths of the chamber at each level: gas that rolls back and forth."""
    high_stack_mixing: float = 0.45
    """How much of `mixing` is left with the stack at the lid: it draws the hot layer off above the grate."""
    entrained: float = 0.975
    """Share of chamber air in what comes up from below the baffle."""
    flow_capacity: float = 18.0
    """Mass flow times specific heat of the flue gas at the reference draught of a 0.75 m stack at 150 °C."""
    grate_share: float = 0.7
    """Share of the gas that enters below the baffle at grate level."""
    firebox_radiation: float = 1.25
    """W/K from the firebox mouth to the first quarter of the grate."""
    wall_excess_kelvin: float = 5.0
    """How much hotter the grate is at the walls than at its middle line."""
    door_deficit_kelvin: float = 1.2
    """How much colder the door side is than the back."""
    pattern: Pattern | None = None


class FireHabit(msgspec.Struct, frozen=True):
    """How the cook feeds the fire."""

    target_celsius: float = 113.0
    period_seconds: float = 41 * 60.0
    """Between splits; drawn anew each time."""
    period_share: float = 0.15
    """How far off that he may be, as a share."""
    bed_megajoules: float = 35.5
    """What he builds the bed of embers and wood up to with each split, when the grate is at the target."""
    moisture: float = 0.16
    """Water in the wood, share of its mass."""
    embers_kilograms: float = 0.5
    """Lit charcoal to start with."""
    warm_up_bed_megajoules: float = 45.0
    warm_up_period_seconds: float = 13 * 60.0
    gain_per_kelvin: float = 0.015
    """How much higher, as a share, he builds the bed for each kelvin the grate lies below the target."""
    intake_per_kelvin: float = 0.015
    """How much wider he sets the intake for each kelvin below, within ±35 %."""
    largest_split_kilograms: float = 2.2
    """What his firebox takes at a time."""


class Weather(msgspec.Struct, frozen=True):
    """Air outside. The wind gusts as an Ornstein-Uhlenbeck process about its mean, never below zero."""

    ambient_celsius: float = 14.0
    night_fall_kelvin: float = 6.0
    """How much the air cools until eight hours after the start."""
    wind_metres_per_second: float = 0.6
    gust_metres_per_second: float = 0.4
    """Standard deviation of the wind."""
    gust_seconds: float = 90.0


class Flesh(msgspec.Struct, frozen=True):
    """What a brisket of shells is made of (see `roast.py`), and what it is wrapped in."""

    convection: float = 14.0
    """W/(m² K), radiation included."""
    plateau_celsius: float = 63.0
    """Where a wet surface settles in air of 113 °C; the core comes to stand some kelvins above it."""
    vapour_pascal: float = 5_000.0
    """In the air of the pit."""
    water: float = 7.0
    """kg/m² that can sweat out before the bark seals the surface."""
    sharpness: float = 2.0
    seep: float = 0.05
    """Wetness that is left under the bark."""
    shape: float = 0.4
    """0 is a slab, 1 a long cylinder."""
    tip: float = 0.1
    """Where the probe's tip lies: 0 the core, 1 the surface."""
    wrap_open: float = 0.05
    """How much of the sweat the wrap lets through: foil little, paper half."""
    wrap_heat: float = 0.9
    """How much of the heat it lets in."""


class Meat(msgspec.Struct, frozen=True):
    """A brisket over the middle of the grate, its point to the fire; times are seconds from the start."""

    on_seconds: float = 75 * 60.0
    wrap_seconds: float | None = 8.0 * 3600.0
    start_celsius: float = 5.0
    point_half_thickness_m: float = 0.047
    flat_half_thickness_m: float = 0.034
    point_x_m: float = 0.44
    flat_x_m: float = 0.84
    flesh: Flesh | None = None
    """None: the three nodes of `brisket.py`, of which the recorded nights are made."""


class RehearsalProbe(msgspec.Struct, frozen=True):
    """One probe: where it is and how it sends."""

    key: str
    duty: str = "chamber"
    """`chamber`, `meat` or `ambient`."""
    level: str = "grate"
    """`grate` or `top`; of a meat or ambient probe not looked at."""
    x_m: float = 0.0
    y_m: float = 0.0
    interval_seconds: float = 4.5
    lag_seconds: float = 15.0
    noise_kelvin: float = 0.25
