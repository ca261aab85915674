"""What `coldside` tells a script by its exit code."""

import enum

__all__ = ["Exit"]


class Exit(enum.IntEnum):
    """Exit codes; those from 64 on are sysexits.h's."""

    OK = 0
    FAILED = 1
    """What was asked could not be done."""
    USAGE = 2
    """Wrong words on the command line."""
    ALARM = 3
    """`status`, `alarms`: an alarm waits for somebody."""
    NO_COLLECTOR = 69
    """Nobody answers on the collector's socket."""
    STORE = 74
    """The store cannot be read or written."""
    CONFIG = 78
    """The config file holds mistakes."""
    INTERRUPTED = 130
