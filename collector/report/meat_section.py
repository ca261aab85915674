"""What the report says of the meat, in words and tables. Pure."""

from collector.model.meat.cooling import OTHER_LIMITS
from collector.model.meat.piece import POUND_KG
from collector.model.meat.safety import APPENDIX_A_LOGS, NO_FIVE_LOGS
from collector.report.facts import Facts
from collector.report.layout import Section, Table
from collector.report.milestones import SHARES, Forecast, Meat, MeatPart, Milestone
from collector.report.wording import NOTHING, Words

__all__ = ["meat_section"]


def meat_section(facts: Facts, words: Words) -> Section:
    """Put together what the meat did; there must be a piece."""
    tables: list[Table] = []
    says = [_piece_says(piece, words) for piece in facts.meat]
    rows = [
        row for piece in facts.meat for part in piece.parts for m in part.milestones
        for row in _milestone_rows(f"{piece.name} {part.name}", m, words)
    ]  # fmt: skip
    if rows:
        tables.append(
            Table(
                "Milestones against their forecasts",
                ("part", "milestone", "came", "when told", "forecast", "80 % interval", "it came", "held"), tuple(rows),
            )
        )  # fmt: skip
        says.append(
            f"Told at {', '.join(f'{100 * s:.0f} %' for s in SHARES)} of the time from when it went on until it came."
        )
    tables.append(
        Table(
            f"What the probes in the meat say, {words.degree}",
            ("part", "last", "most", "stall", "41–135 °F", "log reduction", "6.5 log at"),
            tuple(_part_row(piece, part, words) for piece in facts.meat for part in piece.parts),
        )
    )  # fmt: skip
    cooled = dict.fromkeys(piece.cooling_limits for piece in facts.meat)
    return Section(
        "meat", "Meat: milestones against forecast", (), tuple(says), tuple(tables),
        f"{facts.meat[0].caution} The time between 41 and 135 °F is that of the probe since the meat went on (FDA "
        "Food Code 3-501.16, .19); log reduction is of Salmonella by USDA FSIS Appendix A (1999) for beef, counted no "
        f"further than the table's 6.5 ({NO_FIVE_LOGS}), and says nothing of any other hazard. Cooling is followed by "
        f"{', '.join(cooled)}; {OTHER_LIMITS}. No number here is a "
        "permission to serve.",
    )  # fmt: skip


def _piece_says(piece: Meat, words: Words) -> str:
    mass = f", {piece.kg:.1f} kg ({piece.kg / POUND_KG:.1f} lb)" if piece.kg is not None else ""
    turns = ", ".join(f"{t.phase} from {words.clock(t.time_unix)}" for t in piece.turns) or "never went on"
    held = ""
    if piece.held_seconds is not None:
        held = (
            f"; held {words.span(piece.held_seconds)}, its coldest part never below "
            f"{words.temperature(piece.held_least_celsius)}"
            f" (floor {words.temperature(piece.hold_floor_celsius)})"
        )
    return f"{piece.name} ({piece.cut}{mass}): {turns}{held}."


def _milestone_rows(name: str, m: Milestone, words: Words) -> list[tuple[str, ...]]:
    kind = f"{m.kind} at {words.temperature(m.target_celsius)}"
    came = words.clock(m.came_unix) if m.came_unix is not None else "not yet"

    def row(f: Forecast) -> tuple[str, ...]:
        told = f"{words.clock(f.time_unix)}, {'last' if m.came_unix is None else f'{100 * f.share:.0f} %'}"
        interval = (
            NOTHING
            if f.low_unix is None or f.high_unix is None
            else f"{words.clock(f.low_unix)}–{words.clock(f.high_unix)}"
        )
        late = NOTHING
        if f.late_seconds is not None:
            late = (
                "to the minute"
                if abs(f.late_seconds) < 60
                else f"{words.span(abs(f.late_seconds))} {'later' if f.late_seconds > 0 else 'earlier'}"
            )
        held = NOTHING if f.held is None else "yes" if f.held else "no"
        return (
            name,
            kind,
            came,
            told,
            words.clock(f.median_unix) if f.median_unix is not None else f.why or NOTHING,
            interval,
            late,
            held,
        )

    return [row(f) for f in m.forecasts] or [(name, kind, came, NOTHING, NOTHING, NOTHING, NOTHING, NOTHING)]


def _part_row(piece: Meat, part: MeatPart, words: Words) -> tuple[str, ...]:
    stall = NOTHING
    if part.stall_began_unix is not None:
        until = words.clock(part.stall_ended_unix) if part.stall_ended_unix is not None else "the end"
        stall = f"{words.clock(part.stall_began_unix)}–{until} at {words.temperature(part.stall_celsius)}"
    logs = (
        "no table"
        if part.log_reduction is None
        else f"{'≥ ' if part.log_reduction >= APPENDIX_A_LOGS else ''}{part.log_reduction:.1f}"
    )
    return (
        f"{piece.name} {part.name}", words.number(part.last_celsius), words.number(part.most_celsius), stall,
        words.span(part.danger_seconds), logs, words.clock(part.table_reached_unix),
    )  # fmt: skip
