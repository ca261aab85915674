"""One night as a list in order of time: what was true, what was told, what came of it."""

import math

from tests.bench.quality.judged import HERE, AlarmScore
from tests.bench.quality.play import Played
from tests.bench.quality.recorded import Recorded
from tests.bench.quality.truth import Truth

__all__ = ["listed"]


def _clock(seconds: float) -> str:
    return "  --:--" if math.isinf(seconds) else f"{int(seconds // 3600):4d}:{int(seconds % 3600 // 60):02d}"


def listed(recorded: Recorded, truth: Truth, played: Played, score: AlarmScore) -> str:
    """Give the lines of a night."""
    night = recorded.night
    names = [zone.name for zone in night.zones]
    lines = [(truth.steady, "true   steady")]
    lines += [(lid.start, f"true   door open {lid.seconds:.0f} s") for lid in night.lids]
    lines += [
        (leak.start, f"true   leak at {leak.x_m:.2f}, {leak.y_m:.2f} m, grows {leak.grow_seconds / 60:.0f} min, "
         f"ends {_clock(leak.end).strip()}") for leak in night.leaks
    ]  # fmt: skip
    lines += [
        (s.start, f"true   COLD zone {names[s.zone]} until {_clock(s.end).strip()}, at most {s.peak_kelvin:.1f} K")
        for s in truth.spells
    ]
    lines += [
        (f.start, f"true   {f.key} {f.kind} until {_clock(f.end).strip()} {f.other}".rstrip()) for f in night.faults
    ]
    lines += [(lie.start, f"true   LIES {lie.key} ({lie.kind})") for lie in truth.lies]
    if truth.fire is not None:
        lines.append((truth.fire.start, f"true   FIRE {truth.fire.what}"))
    lines += [(a.raised, f"told   {a.key} until {_clock(a.cleared).strip()}") for a in played.alarms]
    pit = night.pit
    head = [
        f"{night.name}: {night.duration_seconds / 3600:.1f} h, {pit.length_m} x {pit.width_m} m,"
        f" target {night.habit.target_celsius} C, splits every {night.habit.period_seconds / 60:.0f} min,"
        f" offsets {night.offset_kelvin:.2f} K, steps {night.resolution_kelvin} K",
        *(
            f"  {p.key:12} {p.level if p.duty == 'chamber' else p.duty:8} {p.x_m:.2f} {p.y_m:.2f} m"
            for p in night.probes
        ),
        *(f"  zone {z.name:8} {z.x0_m:.2f}-{z.x1_m:.2f} x {z.y0_m:.2f}-{z.y1_m:.2f} m" for z in night.zones),
    ]
    watch = score.watch[HERE]
    tail = [
        *(f"  {o.what}: " + ("MISSED" if o.delay is None else f"{o.delay / 60:.1f} min late")
          for o in (*watch.cold, *watch.drift, *score.faults)),
        *(f"  FALSE {a.key} at {_clock(a.raised).strip()}" for a in (*watch.false_cold, *watch.false_drift)),
        *(f"  ACCUSED {key}" for key in score.accused),
    ]  # fmt: skip
    return "\n".join([*head, *(f"{_clock(at)}  {what}" for at, what in sorted(lines)), *tail])
