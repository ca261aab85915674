"""What a build server judges: a fixed list of nights, pieces of meat and pairs of cooks, small enough for two minutes.

To draw a night takes longer than to play it, since a pit is tuned in trial runs; so the drawn nights are kept in
`fixed_nights.msgpack`. They are cut off some time after what goes wrong in them.
"""

from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec
from msgspec.structs import replace

from adapters.rehearsal.drawn import NightKind, draw_night
from adapters.rehearsal.night import Night
from tests.bench.quality.judged import AlarmScore, MapScore, score_alarms, score_maps
from tests.bench.quality.meat.judge import MeatScore, judge_family
from tests.bench.quality.meat.pieces import FAMILIES as MEAT
from tests.bench.quality.meat.show import meat_part
from tests.bench.quality.pairs.judge import PairScore, judge_seed
from tests.bench.quality.pairs.show import pairs_part
from tests.bench.quality.play import play
from tests.bench.quality.recorded import record
from tests.bench.quality.table import Part, alarm_parts, field_part
from tests.bench.quality.truth import truth_of

__all__ = ["Task", "draw", "judge", "parts_of", "tasks"]

NIGHTS = {
    ("cold", 50_000): 6.3, ("cold", 50_001): 5.5, ("cold", 50_002): 5.5, ("cold", 50_003): 6.6,
    ("cold-faulty", 50_002): 6.8, ("fading", 50_002): 5.5, ("fading", 50_003): 5.5, ("faulty", 50_002): 6.0,
    ("faulty", 50_003): 5.3, ("lids", 50_000): 5.5, ("quiet", 50_000): 5.5,
}  # fmt: skip
"""Kind and seed, and after how many hours the night is cut off."""
PROBES = 9
MAPPED = ("cold", "quiet")
PIECES, PAIRS, FIRST_PAIR = 24, 24, 50_000
KEPT = Path(__file__).with_name("fixed_nights.msgpack")

Task = tuple[str, str, int]
"""Group, kind of night or family, and seed or count."""
Score = AlarmScore | MapScore | MeatScore | PairScore


def tasks() -> list[Task]:
    """List what is judged, the longest first."""
    nights = sorted(NIGHTS, key=NIGHTS.__getitem__, reverse=True)
    return [
        *(("night", kind, seed) for kind, seed in nights),
        *(("meat", family, PIECES) for family in MEAT),
        *(("pairs", "fields", FIRST_PAIR + k) for k in range(PAIRS)),
    ]


def judge(task: Task) -> list[Score]:
    """Judge one night, family of meat or pair of cooks."""
    group, what, number = task
    if group == "meat":
        return list(judge_family(what, number, tuning=False))
    if group == "pairs":
        return list(judge_seed((what, number)))
    nights = msgspec.msgpack.decode(KEPT.read_bytes(), type=dict[str, Night])
    night = record(replace(nights[f"{what}:{number}"], duration_seconds=3600.0 * NIGHTS[what, number]))
    mapped = what in MAPPED
    truth, played = truth_of(night), play(night, with_maps=mapped)
    maps = score_maps(what, PROBES, night, truth, played) if mapped else []
    return [score_alarms(what, number, night, truth, played), *maps]


def parts_of(scores: Sequence[Score]) -> list[Part]:
    """Make the tables of some scores."""
    made: list[tuple[type, Callable[..., Part | list[Part]]]] = [
        (AlarmScore, alarm_parts), (MapScore, field_part), (MeatScore, meat_part), (PairScore, pairs_part),
    ]  # fmt: skip
    parts: list[Part] = []
    for kind, make in made:
        if some := [score for score in scores if isinstance(score, kind)]:
            found = make(some)
            parts += found if isinstance(found, list) else [found]
    return parts


def draw() -> None:
    """Draw the nights and keep them; it takes some minutes."""
    drawn = {f"{kind}:{seed}": draw_night(NightKind(kind), seed, PROBES) for kind, seed in NIGHTS}
    KEPT.write_bytes(msgspec.msgpack.encode(drawn))
