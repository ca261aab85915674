"""The seven sample nights, each a script and the story told beside its recording."""

import msgspec
from msgspec.structs import replace

from adapters.rehearsal.layout import PROBES, ZONES
from adapters.rehearsal.night import AirLeak, FaultKind, LidOpening, Night, ProbeFault
from adapters.rehearsal.pit import FireHabit, Meat, Pit, Weather

__all__ = ["NIGHTS", "SampleNight"]

_HOUR, _MINUTE = 3600.0, 60.0


class SampleNight(msgspec.Struct, frozen=True):
    """A night and what its page says."""

    night: Night
    title: str
    story: str
    events: tuple[tuple[float, str], ...] = ()
    """Seconds from the start and what happens then; the page adds lids, splits and the truth."""


def _lids(*openings: tuple[float, float, str]) -> tuple[LidOpening, ...]:
    return tuple(LidOpening(hours * _HOUR, seconds, why) for hours, seconds, why in openings)


_MEAT_ON = (1.5, 75.0, "the brisket goes on")
_WRAP = (8.25, 100.0, "wrapped")
_MEAT = Meat(on_seconds=1.5 * _HOUR, wrap_seconds=8.25 * _HOUR)

_QUIET = Night(
    "quiet-night",
    seed=8101,
    start_unix=1_790_964_000.0,
    duration_seconds=12.0 * _HOUR,
    probes=PROBES,
    zones=ZONES,
    meat=_MEAT,
    lids=_lids(_MEAT_ON, (4.6, 40.0, "spritz"), (6.4, 35.0, "spritz"), _WRAP),
)

_COLD_LEAK = 5.5 * _HOUR
_FLAT_COLD = replace(
    _QUIET,
    name="flat-side-cold",
    seed=8202,
    start_unix=1_791_574_200.0,
    leaks=(AirLeak(_COLD_LEAK, 80 * _MINUTE),),
    lids=_lids(_MEAT_ON, (4.7, 40.0, "spritz"), _WRAP),
)

_ASLEEP = (6.9 * _HOUR, 10.6 * _HOUR)
_FADES = replace(
    _QUIET,
    name="fire-fades",
    seed=8303,
    start_unix=1_792_188_000.0,
    duration_seconds=11.0 * _HOUR,
    meat=replace(_MEAT, wrap_seconds=None),
    lids=_lids(_MEAT_ON, (4.4, 45.0, "spritz"), (6.1, 40.0, "spritz")),
    unattended=(_ASLEEP,),
)

_WINDY = replace(
    _QUIET,
    name="windy",
    seed=8404,
    start_unix=1_792_785_600.0,
    weather=Weather(9.0, 4.0, wind_metres_per_second=3.4, gust_metres_per_second=2.0, gust_seconds=60.0),
    habit=FireHabit(bed_megajoules=37.0, period_seconds=35 * _MINUTE),
    lids=_lids(
        _MEAT_ON,
        (2.2, 40.0, "a look"),
        (3.0, 60.0, "spritz"),
        (3.7, 35.0, "spritz"),
        (4.3, 90.0, "a probe moved"),
        (4.9, 45.0, "spritz"),
        (5.5, 30.0, "a look"),
        (6.2, 180.0, "turned round"),
        (6.9, 60.0, "spritz"),
        (7.5, 45.0, "spritz"),
        (8.25, 150.0, "wrapped"),
        (9.1, 40.0, "a look"),
        (9.9, 120.0, "probes set anew"),
        (10.7, 30.0, "a look"),
        (11.3, 60.0, "a look"),
    ),
)

_FAULTY = replace(
    _QUIET,
    name="faulty-probes",
    seed=8505,
    start_unix=1_793_390_400.0,
    lids=_lids(_MEAT_ON, (5.0, 40.0, "spritz"), _WRAP),
    faults=(
        ProbeFault("grate-mid-back", FaultKind.STUCK, 4.0 * _HOUR),
        ProbeFault("grate-fire-front", FaultKind.DRIFT, 3.0 * _HOUR, kelvin=9.0, kelvin_per_hour=1.5),
        ProbeFault("top-stack", FaultKind.SILENT, 6.5 * _HOUR),
        ProbeFault("grate-flat-front", FaultKind.SPIKE, 2.5 * _HOUR, kelvin=25.0, every_seconds=300.0),
        ProbeFault("grate-point", FaultKind.OPEN, 7.5 * _HOUR, 7.9 * _HOUR),
    ),
)

_BEFORE = replace(
    _QUIET,
    name="stack-before",
    seed=8606,
    start_unix=1_793_995_200.0,
    duration_seconds=10.0 * _HOUR,
    pit=Pit(stack_inlet_m=0.25),
    habit=FireHabit(bed_megajoules=43.0),
    lids=_lids(_MEAT_ON, (5.2, 40.0, "spritz"), _WRAP),
)

_AFTER = replace(
    _BEFORE,
    name="stack-after",
    seed=8707,
    start_unix=1_794_600_000.0,
    pit=Pit(stack_inlet_m=0.0),
    habit=FireHabit(),
)

NIGHTS: tuple[SampleNight, ...] = (
    SampleNight(
        _QUIET,
        "A quiet night",
        "Nothing goes wrong: a steady fire, still air, the stack drawn down to the grate. No alarm is due.",
    ),
    SampleNight(
        _FLAT_COLD,
        "The flat side goes cold",
        "A gasket by the stack end gives way and the baffle has moved: cold air is drawn in where the thin flat"
        " lies. The fire is well, the rest of the grate hardly shows it.",
        ((_COLD_LEAK, "the leak begins"), (_COLD_LEAK + 80 * _MINUTE, "the leak has its full size")),
    ),
    SampleNight(
        _FADES,
        "The fire fades",
        "The cook oversleeps: the last split burns down and nobody lays another until the end.",
        ((_ASLEEP[0], "from here nobody feeds the fire"), (_ASLEEP[1], "the cook is back")),
    ),
    SampleNight(
        _WINDY,
        "A windy night",
        "Gusts and a restless cook: the door is opened fifteen times. The fire holds, no zone is cold by the"
        " definition except while the door stands open or the pit comes back from it.",
    ),
    SampleNight(
        _FAULTY,
        "Probes that lie",
        "Fire and chamber are well. Five probes are not.",
        (
            (2.5 * _HOUR, "grate-flat-front: from here a wild value about every 5 min"),
            (3.0 * _HOUR, "grate-fire-front: drifts upward 1.5 K an hour, to 9 K"),
            (4.0 * _HOUR, "grate-mid-back: stuck at the value it has"),
            (6.5 * _HOUR, "top-stack: silent from here"),
            (7.5 * _HOUR, "grate-point: broken wire, reads 850 °C"),
            (7.9 * _HOUR, "grate-point: whole again"),
        ),
    ),
    SampleNight(
        _BEFORE,
        "Before the change: the stack begins high, at the lid",
        "The hot layer leaves along the lid; the grate below the stack lies in a cold pocket.",
    ),
    SampleNight(
        _AFTER,
        "After the change: the stack drawn down to the grate",
        "The same pit and the same way of feeding it, the stack lowered by 25 cm so that it begins at the grate."
        " The splits are smaller: less heat leaves unused.",
    ),
)
