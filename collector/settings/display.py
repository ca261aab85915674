"""The table of the config that only a dashboard needs: apart, so that where none is written nothing else is loaded."""

from typing import Literal

import msgspec

__all__ = ["Display"]


class Display(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How things are shown; what is stored does not depend on it."""

    unit: Literal["C", "F"] = "F"
    theme: Literal["dark", "light", "high-contrast"] = "dark"
    ascii: bool = False
    mouse: bool = True
    bell: bool = False
    keys: dict[str, str] = msgspec.field(default_factory=dict)
