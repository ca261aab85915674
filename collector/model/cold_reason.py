"""Why a zone may run cold, as far as the data tell; each a guess to begin with, worded as one."""

__all__ = ["likely_reason"]

LID_SECONDS = 1800.0
GUSTY = 1.8
SUDDEN_KELVIN_PER_SECOND = 6.0 / 1800.0


def likely_reason(
    *,
    grown: bool,
    rate_kelvin_per_second: float,
    in_doubt: bool,
    since_lid_seconds: float,
    fire_below_kelvin: float,
    restless: float,
) -> str:
    """Give the likeliest reason in words, to be put behind "runs cold"; empty where nothing tells.

    Args:
        grown: it is colder than it has been tonight.
        rate_kelvin_per_second: how fast its deficit grows.
        in_doubt: a probe in it is not believed.
        since_lid_seconds: since the lid was shut last; infinite when it never was open.
        fire_below_kelvin: how far the level is below its band, now or soon; NaN where it is not known.
        restless: how much more the level shakes than it usually does.
    """
    if in_doubt:
        return "or one of its probes lies: look at both"
    if not grown:
        return "it has stood so all night: the pit draws so"
    if since_lid_seconds < LID_SECONDS:
        return "since the lid was open: does it close all round?"
    if fire_below_kelvin > 0.0:
        return "the fire runs low too: look at the firebox"
    if restless > GUSTY:
        return "it is gusty: look where the wind comes in"
    if rate_kelvin_per_second > SUDDEN_KELVIN_PER_SECOND:
        return "it came fast: look for cold air at lid, door and gasket"
    return "it came slowly, the fire is well: look for cold air, ash or a moved baffle"
