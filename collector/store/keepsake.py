"""What people add to a cook afterwards and change of it: tags, notes, photos, the log of edits, its parts."""

import enum

import msgspec

__all__ = [
    "MOST_NOTE_CHARACTERS",
    "MOST_PHOTOS",
    "MOST_PHOTO_BYTES",
    "MOST_TAG_CHARACTERS",
    "Edit",
    "EditKind",
    "Note",
    "Part",
    "Photo",
    "picture_kind",
]

MOST_PHOTO_BYTES = 8_000_000
MOST_PHOTOS = 50
"""Of one cook."""
MOST_NOTE_CHARACTERS = 10_000
MOST_TAG_CHARACTERS = 40
_PNG = b"\x89PNG\r\n\x1a\n"
"""Portable Network Graphics, third edition, 5.2."""
_JPEG = b"\xff\xd8\xff"
"""ISO/IEC 10918-1, B.1.1.3: the marker SOI, and the first byte of the next marker."""


def picture_kind(content: bytes) -> str:
    """Tell by its first bytes whether a file is a picture: `jpeg`, `png`; empty where it is neither."""
    if content.startswith(_PNG):
        return "png"
    return "jpeg" if content.startswith(_JPEG) else ""


class EditKind(enum.StrEnum):
    """What is done to a cook that is on record."""

    TAG = "tag"
    UNTAG = "untag"
    NOTE = "note"
    PHOTO = "photo"
    RENAME = "rename"
    END = "end"
    DELETE = "delete"
    MERGE = "merge"
    SPLIT = "split"
    IMPORT = "import"


class Note(msgspec.Struct, frozen=True):
    """Words about a cook as a whole."""

    number: int
    time_unix: float
    """When it was written."""
    text: str


class Photo(msgspec.Struct, frozen=True):
    """A picture, without its bytes."""

    number: int
    time_unix: float
    """When it was put on record."""
    kind: str
    """`jpeg` or `png`."""
    name: str
    """Of the file it came from."""
    text: str
    bytes: int


class Edit(msgspec.Struct, frozen=True):
    """One change of the record."""

    number: int
    time_unix: float
    kind: EditKind
    cook: int
    """Number of the cook; there may be none of it any more."""
    other: int | None
    """Number of the cook that went into it, or came out of it."""
    name: str
    """Of the cook before the edit."""
    text: str
    """What was done, in words."""
    from_id: int | None = None
    """Ordinal from which on rows came or went."""
    until_id: int | None = None
    """Ordinal before which they lay."""


class Part(msgspec.Struct, frozen=True):
    """A stretch of a cook that one engine judged without a break. A cook nobody merged or split has one."""

    from_id: int
    """First ordinal of the stretch."""
    until_id: int
    """First ordinal after it."""
    began_unix: float
    """When that engine began: before the stretch, where the rows between belong to another cook now."""
    readings: int = 0
    """How many it had taken before the stretch."""
