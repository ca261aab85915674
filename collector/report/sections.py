"""The report in words and tables, section by section: what page and PDF both show. Pure."""

from collections.abc import Sequence

from collector.model.meat.piece import POUND_KG
from collector.report.facts import Facts
from collector.report.health import MOST_GAPS, ProbeHealth
from collector.report.layout import Section, Table
from collector.report.maps import UNKNOWN_KELVIN
from collector.report.meat_section import meat_section
from collector.report.recovery import DEFINITION
from collector.report.summary import map_number, map_title, map_unit
from collector.report.survey import DEFINITIONS, SurveyPoint
from collector.report.wording import NOTHING, Words
from collector.words import SEEN_WORDS

__all__ = ["sections"]

MOST_MARKS = 400
PRIORITIES = {"urgent": "URGENT", "soon": "CHECK", "note": "note"}


def sections(facts: Facts, words: Words, maps: Sequence[str]) -> tuple[Section, ...]:
    """Put the report together.

    Args:
        facts: what it says.
        words: for whom.
        maps: names of the maps, in the order of the facts.
    """
    made = [
        Section("picture", "The cook in one picture", ("cook",), (), (_half_hours(facts, words),)),
        _chamber(facts, words, maps),
        _survey(facts, words),
        _lid(facts, words),
        _fuel(facts, words),
        _alarms(facts, words),
        *((meat_section(facts, words),) if facts.meat else ()),
        *((_hand(facts, words),) if facts.hand_readings else ()),
        _probes(facts, words),
        _gaps(facts, words),
        _log(facts, words),
    ]
    return tuple(made)


def _half_hours(facts: Facts, words: Words) -> Table:
    heads = (
        "from", f"grate {words.degree}", "spread", *(z.name for z in facts.zones), *facts.meat_probes, "fire",
    )  # fmt: skip
    rows = tuple(
        (
            words.clock(row.time_unix), words.number(row.grate_celsius),
            words.difference(row.spread_kelvin, signed=False),
            *(words.number(v) for v in row.zones_celsius), *(words.number(v) for v in row.meat_celsius), row.phase,
        ) for row in facts.half_hours
    )  # fmt: skip
    return Table(f"Numbers of the picture, by half hour, {words.degree}", heads, rows, folded=True)


def _chamber(facts: Facts, words: Words, maps: Sequence[str]) -> Section:
    says = []
    if facts.steady_from_unix is not None and facts.steady_until_unix is not None:
        says.append(
            f"Steady from {words.clock(facts.steady_from_unix)} to {words.clock(facts.steady_until_unix)}, "
            f"{words.span(60.0 * facts.steady_minutes)} of it with the lid shut and the pit come back. "
            f"Band {words.number(facts.cook.low_celsius)} to {words.temperature(facts.cook.high_celsius)}, "
            f"target {words.temperature(facts.cook.target_celsius)}."
        )
    else:
        says.append("The fire was never steady in this cook: there is no mean, and no cold dose.")
    if maps:
        says.append(
            "Hatched: the map does not know, its own standard deviation is above "
            f"{words.difference(UNKNOWN_KELVIN, signed=False)} {words.degree}. A number in brackets: that probe was "
            "not believed. Swing: standard deviation over time at each place. Cold dose: what was missing to the "
            "lower edge of the band, summed over the minutes."
        )
    else:
        says.append("There is no map: no believed probe of the chamber has a place.")
    zones = Table(
        f"Zones over the steady stretch, {words.degree}",
        ("zone", "level", "mean", "least", "most", "from level", "in band", f"cold dose, {words.degree} min"),
        tuple(
            (z.name, z.level, words.number(z.mean_celsius), words.number(z.least_celsius), words.number(z.most_celsius),
             words.difference(z.deviation_kelvin), words.percent(z.in_band_share),
             words.dose(z.cold_dose_kelvin_minutes))
            for z in facts.zones
        ),
    )  # fmt: skip
    numbers = _map_table(facts, words)
    tables = (*((zones,) if facts.zones else ()), *((numbers,) if numbers.rows else ()))
    return Section("chamber", "The chamber", (*maps, "evenness"), tuple(says), tables)


def _map_table(facts: Facts, words: Words) -> Table:
    rows = tuple(
        (
            map_title(m, words), map_unit(m.unit, words), map_number(m.coldest.value, m.unit, words),
            map_number(m.hottest.value, m.unit, words), words.percent(m.unknown_share),
            ", ".join(f"{p.name} {map_number(p.value, m.unit, words)}" for p in m.probes),
        ) for m in facts.maps
    )  # fmt: skip
    return Table(
        "Numbers of the maps",
        ("map", "unit", "least", "most", "not known", "at the probes"),
        rows,
        folded=True,
        wide=(0, 5),
    )


def _survey(facts: Facts, words: Words) -> Section:
    survey = facts.survey
    if survey is None:
        return Section("survey", "Uniformity survey", (), ("There was no steady half hour to survey.",))
    heads = (
        "place", "level", "mean", "deviation", "furthest above", "furthest below", "fluctuation", "greatest",
        "variation in space", "known", "± 1 sd",
    )  # fmt: skip

    def row(p: SurveyPoint) -> tuple[str, ...]:
        return (
            p.name, p.level, words.number(p.mean_celsius), words.difference(p.deviation_kelvin, digits=1),
            words.difference(p.above_kelvin, digits=1), words.difference(p.below_kelvin, digits=1),
            words.difference(p.fluctuation_kelvin, signed=False, digits=1),
            words.difference(p.fluctuation_most_kelvin, signed=False, digits=1),
            words.difference(p.variation_kelvin, digits=1), words.percent(p.known_share),
            words.difference(p.sd_kelvin, signed=False, digits=1),
        )  # fmt: skip

    between = (
        f", between {survey.gradient_between[0]} and {survey.gradient_between[1]}" if survey.gradient_between else ""
    )
    says = (
        f"Reference: {survey.reference}. {survey.minutes} minutes from {words.clock(survey.start_unix)} to "
        f"{words.clock(survey.end_unix)}, {survey.left_out_minutes} minutes in between left out; "
        f"{survey.windows} half hours.",
        f"Gradient at the grate: {words.difference(survey.gradient_kelvin, signed=False, digits=1)} {words.degree} in "
        f"the median half hour, {words.difference(survey.gradient_most_kelvin, signed=False, digits=1)} {words.degree} "
        f"at most (from {words.clock(survey.gradient_most_unix)}{between}).",
        "A survey says how this cook was; it does not qualify the pit. Of zones without a probe the map speaks.",
    )
    tables = tuple(
        Table(f"{name}, {words.degree}", heads, tuple(map(row, points)))
        for name, points in (("Probes", survey.probes), ("Zones", survey.zones)) if points
    )  # fmt: skip
    centre = (("Centre", f"{survey.centre}."),) if survey.centre else ()
    return Section("survey", "Uniformity survey", ("survey",), says, tables, "", (*DEFINITIONS, *centre))


def _lid(facts: Facts, words: Words) -> Section:
    rows = tuple(
        (
            words.clock(o.time_unix), "seen" if o.seen else "marked", words.number(o.found_celsius),
            words.difference(o.lost_kelvin, signed=False), words.clock(o.deepest_unix), words.clock(o.back_unix),
            o.why or ("at once" if o.recovery_seconds == 0.0 else words.span(o.recovery_seconds)),
        ) for o in facts.lid_openings
    )  # fmt: skip
    table = Table(
        f"Lid openings, {words.degree}",
        ("opened", "how known", "found", "lost", "deepest", "back", "recovery"),
        rows,
        wide=(6,),
    )
    usual = words.difference(facts.swing_kelvin, signed=False, digits=1)
    swing = f" Usual swing of the grate here: {usual} {words.degree}."
    says = () if rows else ("No opening of the lid was seen or marked.",)
    return Section(
        "lid",
        "Recovery after lid openings",
        (),
        says,
        (table,) if rows else (),
        "",
        (("Recovery", DEFINITION + swing),) if rows else (),
    )


def _fuel(facts: Facts, words: Words) -> Section:
    fuel = facts.fuel
    if not fuel.refuels:
        return Section("fuel", "Fuel and rhythm", (), ("No refuel was seen or marked.",))
    seen = sum(r.seen for r in fuel.refuels)
    marked = sum(r.marked for r in fuel.refuels)
    says = [f"{len(fuel.refuels)} refuels: the curves show {seen}, {marked} were marked or confirmed by hand."]
    if fuel.interval_seconds is not None:
        says.append(
            f"Rhythm: one every {words.span(fuel.interval_seconds)} in the median, the middle half between "
            f"{words.span(fuel.interval_low_seconds)} and {words.span(fuel.interval_high_seconds)}; the longest time "
            f"without one {words.span(fuel.longest_seconds)}. A gap of two or three usual ones is divided: not every "
            "split shows."
        )
    if fuel.total_kg is not None:
        noted = sum(r.kg is not None for r in fuel.refuels)
        says.append(f"{fuel.total_kg:.1f} kg ({fuel.total_kg / POUND_KG:.1f} lb) noted with {noted} of them.")
    if fuel.deleted:
        says.append(f"{fuel.deleted} that the curves showed were deleted by hand and are left out.")
    rows, before = [], None
    for r in fuel.refuels:
        rows.append(
            (
                words.clock(r.time_unix), NOTHING if before is None else words.span(r.time_unix - before),
                "yes" if r.seen else "no", "yes" if r.marked else "no", NOTHING if r.kg is None else f"{r.kg:.1f} kg",
                r.text,
            )
        )  # fmt: skip
        before = r.time_unix
    return Section(
        "fuel", "Fuel and rhythm", (), tuple(says),
        (Table("Fuel log", ("time", "since the last", "seen", "by hand", "mass", "words"), tuple(rows), wide=(5,)),),
    )  # fmt: skip


def _alarms(facts: Facts, words: Words) -> Section:
    alarms = facts.alarms
    if not alarms.rows:
        return Section("alarms", "Alarms, and how long each waited", (), ("No alarm was raised.",))
    rows = tuple(
        (
            words.clock(a.raised_unix), PRIORITIES.get(a.priority, a.priority), a.message or a.key,
            f"{words.measured(a.value, a.unit)}{f' (limit {words.measured(a.limit, a.unit)})' if a.limit else ''}",
            f"{words.span(a.waited_seconds)}{', waits still' if a.waits else ''}", words.clock(a.acknowledged_unix),
            words.clock(a.over_unix) if a.over_unix is not None else a.aside or "stands",
        ) for a in alarms.rows
    )  # fmt: skip
    says = [
        f"{len(rows)} raised, {alarms.never_acknowledged} not acknowledged when the record ends; at most "
        f"{alarms.most_in_ten_minutes} in ten minutes."
    ]
    if alarms.wait_median_seconds is not None:
        says.append(
            f"Time to acknowledge: {words.span(alarms.wait_median_seconds)} in the median, 95 % within "
            f"{words.span(alarms.wait_p95_seconds)}."
        )
    if alarms.chattering:
        says.append(f"Chattering (three times or more within a minute): {', '.join(alarms.chattering)}.")
    table = Table("Alarms", ("raised", "priority", "what", "value", "waited", "acknowledged", "over"), rows, wide=(2,))
    return Section("alarms", "Alarms, and how long each waited", (), tuple(says), (table,))


def _hand(facts: Facts, words: Words) -> Section:
    bread = tuple(
        (h.where, f"{h.score:g}", words.clock(h.time_unix), _place(h.x_m, h.y_m))
        for h in facts.hand_readings
        if h.score is not None
    )
    spots = tuple(
        (h.where, words.temperature(h.celsius), words.clock(h.time_unix), _place(h.x_m, h.y_m))
        for h in facts.hand_readings if h.score is None
    )  # fmt: skip
    tables = (
        *(
            (Table("Bread test: how brown, 1 as it was to 5 burnt", ("position", "score", "time", "place"), bread),)
            if bread
            else ()
        ),
        *((Table("Read by hand", ("where", "read", "time", "place"), spots),) if spots else ()),
    )
    return Section("hand", "Read by hand", ("hand",), (), tables)


def _place(x_m: float | None, y_m: float | None) -> str:
    return NOTHING if x_m is None or y_m is None else f"{x_m:.2f} m from the fire, {y_m:.2f} m from the back"


def _probes(facts: Facts, words: Words) -> Section:
    rows = tuple(
        (
            p.name, f"{p.readings:,}", words.percent(p.good_share), words.percent(p.uncertain_share),
            words.percent(p.bad_share),
            ", ".join(f"{d.why} ({d.readings:,})" for d in p.doubts) or NOTHING,
            _give_or_take(p.residual_kelvin, p.residual_sd_kelvin, words),
            str(p.lies) if p.lies else NOTHING,
            f"{p.silences}, {words.span(p.silent_seconds)}" if p.silences else NOTHING,
            _battery(p),
            NOTHING if p.rssi_median_dbm is None else f"{p.rssi_median_dbm:.0f} ({p.rssi_least_dbm:.0f})",
            NOTHING if p.calibrated_unix is None else words.day(p.calibrated_unix).rpartition(",")[0],
        ) for p in facts.probes
    )  # fmt: skip
    heads = (
        "probe", "readings", "good", "uncertain", "bad", "why not good", f"from neighbours, {words.degree}",
        "called a liar", "silences", "battery", "dBm (least)", "calibrated",
    )  # fmt: skip
    return Section(
        "probes", "Probe health", (),
        ("From neighbours: median of what it said less what the map says of its place without it (leave-one-out, while "
         "steady and believed), and one standard deviation of that.",),
        (Table("Probes", heads, rows, wide=(5,)),),
    )  # fmt: skip


def _give_or_take(kelvin: float | None, sd_kelvin: float | None, words: Words) -> str:
    if kelvin is None:
        return NOTHING
    return f"{words.difference(kelvin, digits=1)} ± {words.difference(sd_kelvin, signed=False, digits=1)}"


def _battery(probe: ProbeHealth) -> str:
    if probe.battery_first_percent is None or probe.battery_last_percent is None:
        return NOTHING
    return f"{probe.battery_first_percent:.0f}→{probe.battery_last_percent:.0f} %"


def _gaps(facts: Facts, words: Words) -> Section:
    says: list[str] = []
    if not facts.gaps and not facts.absences:
        says.append("None: every probe was heard within its own limit, and the collector was never away.")
    rows: list[tuple[str, ...]] = [
        (
            "the collector",
            words.clock(a.start_unix),
            words.clock(a.end_unix),
            words.span(a.end_unix - a.start_unix),
            a.text or "was away",
        )
        for a in facts.absences
    ]
    for name in dict.fromkeys(g.probe for g in facts.gaps):
        mine = sorted((g for g in facts.gaps if g.probe == name), key=lambda g: -(g.seconds or 0.0))
        if len(mine) > MOST_GAPS:
            rest = sum(g.seconds or 0.0 for g in mine[MOST_GAPS:])
            says.append(
                f"{name}: {len(mine)} silences; the {MOST_GAPS} longest are listed, "
                f"the others last {words.span(rest)} in all."
            )
        rows += [
            (
                g.probe,
                words.clock(g.start_unix),
                words.clock(g.end_unix),
                words.span(g.seconds),
                "never heard" if g.whole else "not heard",
            )
            for g in sorted(mine[:MOST_GAPS], key=lambda g: g.start_unix)
        ]
    says += [
        f"The set-up was changed at {words.clock(at)}: the cook is shown under the last, its alarms "
        "are those of the time."
        for at in facts.cook.set_up_changes_unix
    ]
    return Section(
        "gaps", "Gaps in the data", (), tuple(says),
        (Table("Gaps", ("of", "from", "to", "how long", "what"), tuple(rows), wide=(4,)),) if rows else (),
    )  # fmt: skip


def _log(facts: Facts, words: Words) -> Section:
    marks = facts.marks[-MOST_MARKS:]
    says = (f"The newest {MOST_MARKS} of {len(facts.marks)}.",) if len(facts.marks) > MOST_MARKS else ()
    rows = tuple(
        (words.clock(m.time_unix), SEEN_WORDS.get(m.kind, m.kind), "" if m.kind in SEEN_WORDS else m.text, m.verdict)
        for m in marks
    )
    if not rows:
        return Section("log", "Log of the cook", (), ("Nothing was marked or seen.",))
    return Section(
        "log",
        "Log of the cook",
        (),
        says,
        (
            Table(
                "Everything that was marked or seen",
                ("time", "what", "words", "the cook said"),
                rows,
                folded=True,
                wide=(2,),
            ),
        ),
    )
