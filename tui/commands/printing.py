"""Lines with roles to standard output: styled where it is a terminal, bare text where it is not."""

import json
import os
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, TextIO

from adapters.text import printable
from tui.draw.line import Line, plain
from tui.exit_codes import Exit
from tui.printable import PrintableOutput

if TYPE_CHECKING:
    from collector.wire import Reply

__all__ = ["print_lines", "print_reply"]

_STYLES = {"strong": "1", "faint": "2", "good": "32", "warn": "33", "alarm": "31"}


def print_lines(lines: Iterable[Line], stream: TextIO | None = None) -> None:
    """Print lines; `NO_COLOR` and a dumb terminal are respected."""
    stream = stream or sys.stdout
    styled = stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    out = stream.stream if isinstance(stream, PrintableOutput) else stream  # styles are characters to be obeyed
    for line in lines:
        print(_styled(line) if styled else printable(plain(line)).rstrip(), file=out)
    stream.flush()


def print_reply(reply: "Reply", told: str, *, as_json: bool) -> Exit:
    """Print what became of a command, `told` where it was done; return the exit code."""
    if as_json:
        print(json.dumps({"schema": 1, "done": reply.done, "why": reply.why}))
    elif reply.done:
        print(told)
    else:
        print(f"coldside: {reply.why}", file=sys.stderr)
    return Exit.OK if reply.done else Exit.FAILED


def _styled(line: Line) -> str:
    return "".join(
        f"\x1b[{_STYLES[role]}m{printable(text)}\x1b[0m" if role in _STYLES else printable(text) for text, role in line
    )
