"""The common layout of the sample nights: a 1.2 m cylinder, eight probes at the grate, three under the lid.

One brisket lies over the middle, its thick point to the fire, its thin flat towards the stack.
`sample_streams/pit.toml` says the same in the settings' words; a test holds the two together.
"""

from adapters.rehearsal.night import Zone
from adapters.rehearsal.pit import RehearsalProbe

__all__ = ["PROBES", "ZONES"]

PROBES: tuple[RehearsalProbe, ...] = (
    RehearsalProbe("grate-fire-back", "chamber", "grate", 0.14, 0.10, lag_seconds=12.0),
    RehearsalProbe("grate-fire-front", "chamber", "grate", 0.14, 0.40, lag_seconds=18.0),
    RehearsalProbe("grate-point", "chamber", "grate", 0.40, 0.25, lag_seconds=14.0),
    RehearsalProbe("grate-mid-back", "chamber", "grate", 0.64, 0.09, lag_seconds=10.0),
    RehearsalProbe("grate-mid-front", "chamber", "grate", 0.64, 0.41, lag_seconds=22.0),
    RehearsalProbe("grate-flat-back", "chamber", "grate", 0.88, 0.10, lag_seconds=15.0),
    RehearsalProbe("grate-flat-front", "chamber", "grate", 0.92, 0.40, lag_seconds=15.0),
    RehearsalProbe("grate-stack", "chamber", "grate", 1.12, 0.25, lag_seconds=30.0),
    RehearsalProbe("top-fire", "chamber", "top", 0.18, 0.25, lag_seconds=9.0, noise_kelvin=0.35),
    RehearsalProbe("top-mid", "chamber", "top", 0.62, 0.25, lag_seconds=12.0, noise_kelvin=0.35),
    RehearsalProbe("top-stack", "chamber", "top", 1.08, 0.25, lag_seconds=12.0, noise_kelvin=0.35),
    RehearsalProbe("meat-point", "meat", "grate", 0.44, 0.25, 5.0, 25.0, 0.06),
    RehearsalProbe("meat-flat", "meat", "grate", 0.84, 0.25, 5.0, 25.0, 0.06),
    RehearsalProbe("ambient", "ambient", "grate", 0.60, 0.25, 5.0, 40.0, 0.08),
)

ZONES: tuple[Zone, ...] = (
    Zone("firebox end", "grate", 0.0, 0.28, 0.0, 0.5),
    Zone("point side", "grate", 0.28, 0.52, 0.0, 0.5),
    Zone("middle", "grate", 0.52, 0.76, 0.0, 0.5),
    Zone("flat side", "grate", 0.76, 1.02, 0.0, 0.5),
    Zone("stack end", "grate", 1.02, 1.20, 0.0, 0.5),
    Zone("lid fire half", "top", 0.0, 0.6, 0.0, 0.5),
    Zone("lid stack half", "top", 0.6, 1.2, 0.0, 0.5),
)
