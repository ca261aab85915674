"""What the short signs on the board mean, for the help."""

__all__ = ["LEGEND"]

LEGEND: tuple[tuple[str, str], ...] = (
    ("~", "zones: no probe of its own, read from the map"),
    ("L, H", "zones: below the band, above it"),
    ("dev", "zones: degrees from the mean of the level"),
    ("trend", "zones: degrees an hour, over 15 minutes; arrows from 7 °F/h (4 °C/h)"),
    ("cold dose", "zones: degrees below the band times minutes, since the fire stood"),
    ("S, I, F", "trend: seen in the curves: a refuel, the lid, a fire not picked up"),
    ("n, (a-b)", "meat: half of such cooks are there by n, eight of ten between a and b"),
    ("dotted", "trend: what is expected of the meat, eight of ten between the outer lines"),
    ("LOST, OLD", "pits: no link to its collector, or nothing new from it"),
    ("DISK, wait", "pits: its collector does not save, or has sent nothing yet"),
    ("URG, CHK", "pits: an alarm waits for somebody, URGENT or CHECK; seen: somebody has seen all"),
    ("s, i, r ...", "trend: your own marks, by the key that makes them"),
    ("since", "alarms: when its cause began; it is raised once that has lasted for its delay"),
    ("!, *, -", "alarms: waits for somebody; somebody has seen it; shelved or out of service"),
    ("!, ?, :", "past cook: an alarm, URGENT, CHECK or of note; * any other mark"),
    ("dots, ticks", "past cook: no collector ran; one more hour since it began"),
)
"""Sign, and what it means."""
