"""Which lines of the model the fuzz reaches: a tracer of its own, cheap enough for every tenth seed."""

import sys
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

from tests.fuzz.failures import ROOT

__all__ = ["Coverage", "lines_of"]

MOST_IDLE = 200
"""Calls of a function without a new line, after which one in so many is traced: a tracer is slow."""
WATCHED = (*sorted((ROOT / "collector" / "model").rglob("*.py")), ROOT / "collector" / "engine.py")


def lines_of(path: Path) -> set[int]:
    """Give the lines in a file's functions that can run; those that importing it runs are left out."""
    found: set[int] = set()
    waiting: list[CodeType] = [compile(path.read_text(encoding="utf-8"), str(path), "exec")]
    while waiting:
        code = waiting.pop()
        waiting += [inner for inner in code.co_consts if isinstance(inner, CodeType)]
        if code.co_flags & 0x2:  # CO_NEWLOCALS, with CO_OPTIMIZED: a function, neither module nor class body
            found.update(line for line in _lines(code) if line != code.co_firstlineno)
    return found


def _lines(code: CodeType) -> set[int]:
    return {line for _, _, line in code.co_lines() if line is not None}


class Coverage:
    """Collects the lines that run between `start` and `stop`."""

    def __init__(self) -> None:
        self.seen: dict[str, set[int]] = {str(path): set() for path in WATCHED}
        self._left: dict[CodeType, set[int]] = {}
        self._idle: dict[CodeType, int] = {}
        """Calls of each function since one of them reached a new line."""

    def start(self) -> None:
        sys.settrace(self._call)

    def stop(self) -> None:
        sys.settrace(None)

    def _call(self, frame: FrameType, event: str, argument: Any) -> Any:
        code = frame.f_code
        if code.co_filename not in self.seen:
            return None
        left = self._left.get(code)
        if left is None:
            left = self._left[code] = _lines(code)
        self._idle[code] = idle = self._idle.get(code, 0) + 1
        return self._line if left and (idle < MOST_IDLE or idle % MOST_IDLE == 0) else None

    def _line(self, frame: FrameType, event: str, argument: Any) -> Any:
        code = frame.f_code
        if event == "line" and frame.f_lineno in self._left[code]:
            self._left[code].discard(frame.f_lineno)
            self._idle[code] = 0
            self.seen[code.co_filename].add(frame.f_lineno)
        return self._line
