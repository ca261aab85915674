"""Where log lines go: to the terminal for a daemon, nowhere near it for a dashboard."""

import logging
import os
import sys

from adapters.text import printable
from collector.log_limit import LogLimit

__all__ = ["log_to_stderr", "silence_logging"]

_PRIORITY = {logging.DEBUG: 7, logging.INFO: 6, logging.WARNING: 4, logging.ERROR: 3, logging.CRITICAL: 2}


class _Formatter(logging.Formatter):
    """Lines without a character that a terminal obeys; what follows on further lines is moved in, so none is forged."""

    def format(self, record: logging.LogRecord) -> str:
        return printable(super().format(record)).replace("\n", "\n    ")


class _JournalFormatter(_Formatter):
    """Lines as the journal wants them: priority in front, no time of our own."""

    def format(self, record: logging.LogRecord) -> str:
        return f"<{_PRIORITY.get(record.levelno, 6)}>{super().format(record)}"


def log_to_stderr(verbose: int) -> None:
    """Log to standard error; under the service manager in the journal's form."""
    handler = logging.StreamHandler(sys.stderr)
    if os.environ.get("JOURNAL_STREAM"):
        handler.setFormatter(_JournalFormatter("%(message)s"))
    else:
        handler.setFormatter(_Formatter("%(asctime)s %(levelname)-7s %(message)s", "%Y-%m-%d %H:%M:%S"))
    handler.addFilter(LogLimit())
    logging.basicConfig(level=logging.DEBUG if verbose > 1 else logging.INFO, handlers=[handler], force=True)
    if verbose < 2:
        logging.getLogger("asyncio").setLevel(logging.WARNING)


def silence_logging() -> None:
    """Keep log lines off a terminal that a dashboard draws on."""
    logging.basicConfig(level=logging.CRITICAL, handlers=[logging.NullHandler()], force=True)
