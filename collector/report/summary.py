"""Sentences of a report: what stands at its head, and what its pictures show to whoever does not see them. Pure."""

import numpy as np

from collector.model.plan import GRATE
from collector.report.facts import Facts, Told
from collector.report.maps import MapFacts
from collector.report.wording import NOTHING, Words

__all__ = ["deviation_says", "even_says", "headline", "map_says", "picture_says"]


def headline(facts: Facts, words: Words) -> tuple[tuple[str, str], ...]:
    """Give the few numbers that the page begins with: each with what it is."""
    grate = [z for z in facts.zones if z.level == GRATE and z.deviation_kelvin is not None]
    coldest = min(grate, key=lambda z: z.deviation_kelvin or 0.0, default=None)
    back = [o.recovery_seconds for o in facts.lid_openings if o.recovery_seconds]
    done = [m for piece in facts.meat for part in piece.parts for m in part.milestones if m.kind == "done"]
    came = [m.came_unix for m in done if m.came_unix is not None]
    alarms = facts.alarms
    seen = f"{alarms.never_acknowledged} not acknowledged" if alarms.never_acknowledged else "none waits"
    found = [
        (words.temperature(facts.grate_celsius), f"grate, median of {words.span(60.0 * facts.steady_minutes)} steady"),
        (
            f"{words.difference(facts.spread_kelvin, signed=False)} {words.degree}",
            "from hottest to coldest zone, median",
        ),
    ]
    if coldest is not None:
        found.append(
            (f"{words.difference(coldest.deviation_kelvin)} {words.degree}", f"{coldest.name}, from its level's mean")
        )
    if facts.fuel.refuels:
        every = facts.fuel.interval_seconds
        found.append((str(len(facts.fuel.refuels)), "refuels" + (f", every {words.span(every)}" if every else "")))
    if facts.lid_openings:
        shut = f", back in {words.span(float(np.median(back)))}" if back else ""
        found.append(
            (
                str(len(facts.lid_openings)),
                f"lid openings{shut}" if len(facts.lid_openings) > 1 else f"lid opening{shut}",
            )
        )
    found.append((str(len(alarms.rows)), f"alarms, {seen}" if len(alarms.rows) != 1 else f"alarm, {seen}"))
    if done:
        found.append(
            (
                words.clock(max(came)) if len(came) == len(done) else "not yet",
                "meat done" if len(came) == len(done) else "meat done, when the record ends",
            )
        )
    return tuple(found)


def picture_says(told: Told, words: Words) -> str:
    """Say what the picture of the cook shows."""
    facts = told.facts
    cook = facts.cook
    said = [f"From {words.day(cook.started_unix)} to {words.day(cook.told_until_unix)}."]
    zones = [z for z in facts.zones if z.level == GRATE and z.mean_celsius is not None]
    if zones:
        said.append(
            "Means of the grate's zones while steady: "
            + ", ".join(f"{z.name} {words.temperature(z.mean_celsius)}" for z in zones)
            + "."
        )
    elif facts.grate_celsius is not None:
        said.append(f"Grate while steady: {words.temperature(facts.grate_celsius)}.")
    else:
        said.append("The fire was never steady.")
    for piece in facts.meat:
        for part in piece.parts:
            came = [f"{m.kind} at {words.clock(m.came_unix)}" for m in part.milestones if m.came_unix is not None]
            said.append(
                f"{piece.name} {part.name}: {', '.join([words.temperature(part.last_celsius) + ' at the end', *came])}."
            )
    said.append(
        f"{len(facts.fuel.refuels)} refuels, {len(facts.lid_openings)} lid openings, {len(facts.alarms.rows)} alarms"
        + (
            ", the longest waited " + words.span(max(a.waited_seconds or 0.0 for a in facts.alarms.rows))
            if facts.alarms.rows
            else ""
        )
        + f", {len(facts.gaps)} silences of probes."
    )
    return " ".join(said)


def even_says(told: Told, words: Words) -> str:
    """Say what the picture of spread and cold dose shows."""
    facts = told.facts
    doses = ", ".join(
        f"{z.name} {words.dose(z.cold_dose_kelvin_minutes)}"
        for z in facts.zones
        if (z.cold_dose_kelvin_minutes or 0.0) >= 0.5
    )
    return (
        f"Hottest less coldest grate zone while steady: median {words.difference(facts.spread_kelvin, signed=False)}, "
        f"most {words.difference(facts.spread_most_kelvin, signed=False)} {words.degree}. Cold dose at the end, "
        f"{words.degree} times minutes below the band: {doses or 'none in any zone'}."
    )


def deviation_says(facts: Facts, words: Words) -> str:
    """Say what the picture of the survey shows."""
    if facts.survey is None:
        return "There is no survey."
    points = ", ".join(
        f"{p.name} {words.difference(p.deviation_kelvin)} ({words.difference(p.below_kelvin)} to "
        f"{words.difference(p.above_kelvin)})" for p in facts.survey.probes if p.deviation_kelvin is not None
    )  # fmt: skip
    return f"Mean deviation of each probe from {facts.survey.reference}, {words.degree}, and its furthest: {points}."


def map_number(value: float | None, unit: str, words: Words) -> str:
    """Write a number of a map, without its unit."""
    if value is None:
        return NOTHING
    if unit == "celsius":
        return words.number(value)
    return words.dose(value) if unit == "kelvin_minutes" else words.difference(value, signed=False)


def map_unit(unit: str, words: Words) -> str:
    """Name the unit of a map."""
    return f"{words.degree} minutes" if unit == "kelvin_minutes" else words.degree


def map_title(chart: MapFacts, words: Words) -> str:
    """Name a map."""
    when = f", {words.clock(chart.time_unix)}" if chart.time_unix is not None else ""
    return f"{chart.title}{when} ({chart.level})"


def map_says(chart: MapFacts, words: Words) -> str:
    """Say what a map shows."""
    least, most = (map_number(end.value, chart.unit, words) for end in (chart.coldest, chart.hottest))
    probes = ", ".join(
        f"{p.name} {map_number(p.value, chart.unit, words)}{'' if p.believed else ' (not believed)'}"
        for p in chart.probes
    )
    place = chart.coldest
    return (
        f"Seen from above, {map_unit(chart.unit, words)}: least {least}, {place.x_m or 0.0:.2f} m from the fire end "
        f"and {place.y_m or 0.0:.2f} m from the back; most {most}. Probes: {probes or 'none'}. The map does not know "
        f"{words.percent(chart.unknown_share)} of the level."
    )
