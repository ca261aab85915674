"""The recorded nights that come with coldside, and their pit."""

from importlib.resources import files
from pathlib import Path

from collector.settings.load import Settings, parse

__all__ = ["SOURCE", "night_file", "night_names", "night_settings", "night_story"]

SOURCE = "night"
"""Name of the source in `pit.toml`."""
_FOLDER = Path(str(files("sample_streams")))


def night_names() -> list[str]:
    """List the nights."""
    return sorted(p.name.removesuffix(".sensml.xz") for p in _FOLDER.glob("*.sensml.xz"))


def night_file(name: str) -> Path:
    """Find the recording of a night.

    Raises:
        FileNotFoundError: there is no such night.
    """
    path = _FOLDER / f"{name}.sensml.xz"
    if name not in night_names():
        raise FileNotFoundError(f"there is no night {name!r}; there is {', '.join(night_names())}")
    return path


def night_story(name: str) -> str:
    """Say in one line what happens in a night."""
    lines = (_FOLDER / f"{name}.md").read_text(encoding="utf-8").splitlines()
    return lines[0].lstrip("# ").strip()


def night_settings() -> Settings:
    """Load the pit of all nights."""
    path = _FOLDER / "pit.toml"
    return parse(path.read_text(encoding="utf-8"), path)
