"""`coldside compare`: whether a change of the pit did something, with an interval, or an honest "cannot tell"."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tui.commands.moment import moment_of
from tui.commands.options import add_config, add_json, add_store, chosen_unit, named_store
from tui.commands.progress import Progress
from tui.commands.report import check_report_libraries
from tui.errors import TuiError
from tui.exit_codes import Exit

if TYPE_CHECKING:
    from collector.comparing.reading import Asked
    from collector.comparing.told import CookTold
    from collector.store.record import Record

__all__ = ["SIDES", "add_options", "run"]

SIDES = "--"
"""Between the cooks before the change and those after it."""
PLAIN = {ord("°"): "", ord("█"): "#", ord("−"): "-", ord("–"): "-"}
"""What stands for it in plain ASCII."""
EPILOG = """\
A cook is its name, 'last', or a stretch of it, 'NAME@22:00-03:30' or 'NAME@2026-10-09T22:00/2026-10-10T03:30': a change
made in mid-cook is compared by two stretches of one.

  coldside compare spring-1 spring-2 -- summer-1
  coldside compare --plan --effect '10 F' spring-1 spring-2
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `compare`."""
    parser.epilog = EPILOG
    parser.usage = "coldside compare [OPTIONS] BEFORE [BEFORE ...] -- AFTER [AFTER ...]"
    parser.add_argument("cooks", nargs=argparse.REMAINDER, metavar="COOK", help="before the change, --, after it")
    _add_others(parser)
    others = argparse.ArgumentParser(prog=parser.prog, add_help=False)
    _add_others(others)
    parser.set_defaults(others=others)  # for those that stand among the cooks


def _add_others(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--plan", action="store_true", help="before a change: how many cooks a side it takes to show it"
    )
    parser.add_argument(
        "--effect",
        metavar="DIFFERENCE",
        default="10 F",
        help="the change of the far end that matters (default: '10 F')",
    )
    parser.add_argument("-o", "--output", metavar="FILE", help="write it as one HTML page too, with the map in colour")
    parser.add_argument("--unit", choices=("C", "F"), help="temperature unit (default: the config's)")
    parser.add_argument("--ascii", action="store_true", help="plain ASCII characters only")
    add_config(parser)
    add_store(parser)
    add_json(parser)


def run(options: argparse.Namespace) -> int:
    """Compare, and print what came of it."""
    import msgspec

    from collector.comparing.compared import compared, planned
    from collector.records import open_record
    from collector.report.wording import Words
    from tui.draw.comparison import comparison_lines, plan_lines

    before, after = _sides(options)
    effect = _effect(options.effect)
    words = Words(fahrenheit=chosen_unit(options) == "F")
    where = named_store(options)
    _check_page(options)
    with open_record(where) as record:
        asked = [[_asked(record, name) for name in side] for side in (before, after)]
    _check_apart(asked[0], asked[1])
    told = _read(where, [*asked[0], *asked[1]])
    sides = told[: len(before)], told[len(before) :]
    try:
        if options.plan:
            quantity = planned(sides[0], effect)
            document: Any = {"schema": 1, "plan": quantity}
            lines = plan_lines(quantity, len(before), words)
        else:
            comparison = compared(*sides, effect)
            document, lines = comparison, comparison_lines(comparison, words)
    except ValueError as error:
        raise TuiError(str(error)) from error
    if options.output:
        from collector.comparing.page import page_of

        page = page_of(comparison, words)
        with Path(options.output).open("xb") as file:
            file.write(page)
    if options.json:
        print(msgspec.json.encode(document).decode())
    else:
        text = "\n".join(lines)
        print(text.translate(PLAIN) if options.ascii else text)
    return Exit.OK


def _check_page(options: argparse.Namespace) -> None:
    """See to it before anything is read that a page can be written.

    Raises:
        TuiError: an extra is missing, or there is nothing a page is made for.
        FileExistsError: the file is there.
    """
    if not options.output:
        return
    if options.plan:
        raise TuiError("a page is of a comparison; --plan has none")
    check_report_libraries("a page of a comparison", "without -o it does without")
    if Path(options.output).exists():
        raise FileExistsError(0, "", options.output)


def _sides(options: argparse.Namespace) -> tuple[list[str], list[str]]:
    """Split what was named into both sides; take the options that stand among the cooks.

    Raises:
        TuiError: a side is empty, or there is no such option.
    """
    words: list[str] = options.cooks
    if words.count(SIDES) > 1:
        raise TuiError("there are two sides, so -- stands once")
    at = words.index(SIDES) if SIDES in words else len(words)
    before, after = (options.others.parse_known_args(side, options)[1] for side in (words[:at], words[at + 1 :]))
    wrong = next((w for w in (*before, *after) if w.startswith("-")), None)
    if wrong:
        raise TuiError(f"there is no option {wrong}; `coldside compare --help` lists them")
    if options.plan and (after or not before):
        raise TuiError("--plan takes the cooks before the change only: coldside compare --plan BEFORE [BEFORE ...]")
    if not options.plan and not (before and after):
        raise TuiError("name the cooks before the change, then --, then those after it: BEFORE [...] -- AFTER [...]")
    return before, after


def _effect(words: str) -> float:
    from collector.settings.quantity import QuantityError, parse_difference

    try:
        kelvin = parse_difference(words)
    except QuantityError as error:
        raise TuiError(f"--effect: {error}") from error
    if kelvin <= 0.0:
        raise TuiError(f"--effect: {words!r} is no size of a change; '10 F' is")
    return kelvin


def _asked(record: "Record", words: str) -> "Asked":
    """Find a cook, or a stretch of it.

    Raises:
        UnknownCookError: there is no such cook.
        TuiError: the stretch is none.
    """
    from collector.comparing.reading import Asked

    name, at, span = words.rpartition("@")
    known = record.names()
    if not at or words in known:
        return Asked(words if words != "last" else record.cook("last").name, record.cook(words).name)
    cook = record.cook(name)
    start, between, end = span.partition("/" if "/" in span else "-")
    if not between:
        raise TuiError(f"{words!r}: a stretch is two times with a hyphen, '{name}@22:00-03:30'")
    ended = record.alive_unix(cook)
    try:
        start_unix, end_unix = (moment_of(text, cook.started_unix, ended) for text in (start, end))
    except ValueError as error:
        raise TuiError(f"{words!r}: {error}") from error
    if end_unix <= start_unix:
        raise TuiError(f"{words!r}: it ends before it begins")
    return Asked(words, cook.name, start_unix, end_unix)


def _check_apart(before: "list[Asked]", after: "list[Asked]") -> None:
    """See to it that no minute is on both sides, nor twice on one.

    Raises:
        TuiError: one is.
    """
    every = [*before, *after]
    for k, one in enumerate(every):
        for other in every[k + 1 :]:
            if one.cook == other.cook and one.start_unix < other.end_unix and other.start_unix < one.end_unix:
                raise TuiError(
                    f"{one.name} and {other.name} are the same cook, or overlap; two stretches of one cook are "
                    f"'{one.cook}@22:00-01:00' and '{one.cook}@01:30-04:00'"
                )


def _read(where: str, asked: "list[Asked]") -> "list[CookTold]":
    from collector.comparing.reading import read_cooks

    done = 0

    def tell(_: "Asked") -> None:
        nonlocal done
        done += 1
        progress.begin(f"read {done} of {len(asked)} cooks")

    with Progress() as progress:
        progress.begin(f"reading {len(asked)} cooks, some seconds each")
        return read_cooks(where, asked, tell)
