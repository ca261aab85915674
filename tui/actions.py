"""Everything a person can do on the dashboard: one table for the keys, the help, the palette and the config."""

import msgspec
from textual.binding import Binding

__all__ = ["ACTIONS", "Action", "bindings", "of_pits", "pit_bindings"]


class Action(msgspec.Struct, frozen=True):
    """One thing to do."""

    id: str
    """What the config's `keys` table calls it."""
    key: str
    """The key unless the config says otherwise; several with commas."""
    action: str
    """What Textual runs, in the board's namespace."""
    label: str
    help: str
    footer: bool = False
    """Named in the bottom line."""
    place: str = "board"
    """Where the key is heard: everywhere on the board, only while the list of that name is gone to, or on the board of
    a past cook (`replay`)."""


ACTIONS: tuple[Action, ...] = (
    Action("help", "question_mark", "app.help", "help", "list and search all keys, run one", footer=True),
    Action("quit", "q", "app.quit", "quit", "close the dashboard; the collector goes on", footer=True),
    Action("mark-split", "s", "app.mark('split')", "split", "mark: a split added to the fire", footer=True),
    Action("mark-lid", "i", "app.mark('lid')", "lid", "mark: lid opened"),
    Action("mark-spritz", "r", "app.mark('spritz')", "spritz", "mark: meat spritzed"),
    Action("mark-wrap", "w", "app.mark('wrap')", "wrap", "mark: meat wrapped; every piece that cooks is"),
    Action("mark-turned", "t", "app.mark('turned')", "turned", "mark: meat turned"),
    Action("mark-moved", "m", "app.mark('moved')", "moved", "mark: meat or probe moved"),
    Action("note", "n", "app.note", "note", "mark: write a note", footer=True),
    Action(
        "acknowledge",
        "k",
        "app.acknowledge",
        "seen",
        "acknowledge the chosen trouble or alarm; reset a latched one",
        footer=True,
    ),
    Action("acknowledge-all", "K", "app.acknowledge_all", "all seen", "acknowledge every alarm"),
    Action("shelve-short", "h", "app.shelve(1800)", "shelve 30 min", "put the chosen alarm aside for 30 minutes"),
    Action("shelve-long", "H", "app.shelve(7200)", "shelve 2 h", "put the chosen alarm aside for 2 hours"),
    Action("unshelve", "u", "app.unshelve", "unshelve", "take the chosen alarm back"),
    Action(
        "remove",
        "X",
        "app.remove",
        "take out",
        "alarms: take the chosen one out of service until it is put back",
        place="alarms",
    ),
    Action("restore", "R", "app.restore", "put back", "alarms: put the chosen one back into service", place="alarms"),
    Action("level", "l", "level", "level", "chamber: show the next level", footer=True),
    Action("difference", "d", "difference", "difference", "chamber: temperatures or differences from the median"),
    Action("chart", "v", "chart", "chart", "trend: zones, spread or meat"),
    Action("hours-1", "1", "hours(1)", "1 h", "trend: the last hour"),
    Action("hours-3", "3", "hours(3)", "3 h", "trend: the last 3 hours"),
    Action("hours-12", "2", "hours(12)", "12 h", "trend: the last 12 hours"),
    Action("ahead", "V", "ahead", "look ahead", "trend: what is expected of the meat beside what was, or not"),
    Action("chamber", "c", "panel('chamber')", "chamber", "go to the chamber; again: fill the screen with it"),
    Action("zones", "z", "panel('zones')", "zones", "go to the zones; again: fill the screen"),
    Action("trend", "g", "panel('trend')", "trend", "go to the trend; again: fill the screen", footer=True),
    Action("alarms", "a", "panel('alarms')", "alarms", "go to the alarms; again: fill the screen", footer=True),
    Action("marks", "j", "panel('marks')", "marks", "go to marks and events; again: fill the screen", footer=True),
    Action("meat", "e", "panel('meat')", "meat", "go to the meat; again: fill the screen", footer=True),
    Action("pieces", "E", "whole('pieces')", "all meat", "every piece in full: arrival, stall, plan, clocks, by hand"),
    Action("piece", "W", "app.piece", "piece", "meat: a piece went on, is wrapped, rests, is held, is off"),
    Action("spot", "S", "app.spot", "by hand", "meat: a reading by hand, or a bread test, and where it was taken"),
    Action("fire", "f", "panel('fire')", "fire", "go to the fire; again: fill the screen"),
    Action("sources", "o", "panel('sources')", "sources", "go to sources and store; again: fill the screen"),
    Action("confirm", "y", "app.judge_event('confirm')", "confirm", "marks: the chosen event was one", True, "marks"),
    Action("delete", "x", "app.judge_event('delete')", "delete", "marks: the chosen event was none", True, "marks"),
    Action("back", "escape", "back", "back", "all panels again"),
    Action("bed", "b", "app.bed", "bed", "a few numbers as large as the screen allows", footer=True),
    Action("unit", "F", "app.unit", "°F/°C", "change the unit"),
    Action("pause", "p", "app.pause", "pause", "hold the picture still, or let it go on"),
    Action("bell", "B", "app.toggle_bell", "bell", "ring the terminal bell at a new alarm, or stop ringing"),
    Action("theme", "T", "app.next_theme", "theme", "dark, light, high contrast"),
    Action("commands", "ctrl+p", "app.command_palette", "commands", "find a command by its name"),
    Action("next-pit", "N", "app.next_pit(1)", "next pit", "pits: show the next one"),
    Action("last-pit", "P", "app.next_pit(-1)", "last pit", "pits: show the one before"),
    *(
        Action(f"pit-{k}", f"f{k}", f"app.show_pit({k - 1})", f"pit {k}", f"pits: show the one at number {k}")
        for k in range(1, 10)
    ),
    Action("play", "space", "app.play", "play", "past cook: let it run, or stand", True, "replay"),
    Action("later", "right", "app.move(60)", "min on", "past cook: a minute on", True, "replay"),
    Action("earlier", "left", "app.move(-60)", "min back", "past cook: a minute back", True, "replay"),
    Action("much-later", "shift+right", "app.move(600)", "10 min on", "past cook: ten minutes on", place="replay"),
    Action("much-earlier", "shift+left", "app.move(-600)", "10 min back", "past cook: ten back", place="replay"),
    Action(
        "next-happening", "right_square_bracket", "app.happening(1)", "next", "past cook: to the next alarm or mark",
        True, "replay",
    ),
    Action(
        "last-happening", "left_square_bracket", "app.happening(-1)", "last", "past cook: to the alarm or mark before",
        True, "replay",
    ),
    Action("start", "home", "app.edge(0)", "start", "past cook: to its start", place="replay"),
    Action("end", "end", "app.edge(1)", "end", "past cook: to its end", place="replay"),
    Action("faster", "plus", "app.speed(1)", "faster", "past cook: run faster", place="replay"),
    Action("slower", "minus", "app.speed(-1)", "slower", "past cook: run slower", place="replay"),
    Action("moment", "G", "app.moment", "go to", "past cook: to a time, 02:15, or minutes, +30", True, "replay"),
)  # fmt: skip


def of_pits(action: Action) -> int:
    """Tell from how many pits on an action is of use; 0: always."""
    kind, _, number = action.id.rpartition("-")
    if kind == "pit":
        return max(2, int(number))
    return 2 if number == "pit" else 0


def bindings(place: str = "board") -> list[Binding]:
    """Make Textual bindings of the table, of those keys that are heard in one place."""
    return [_binding(a) for a in ACTIONS if a.place == place]


def pit_bindings() -> list[Binding]:
    """Make the bindings of the keys that go from pit to pit."""
    return [_binding(a) for a in ACTIONS if of_pits(a)]


def _binding(action: Action) -> Binding:
    return Binding(
        action.key, action.action, action.label, show=action.footer, id=action.id, tooltip=action.help
    )  # fmt: skip
