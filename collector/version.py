"""Which coldside this is; the package's own version is read from here when it is built."""

__all__ = ["VERSION"]

VERSION = "0.1.0"
