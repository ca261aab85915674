"""B-trees of a SQLite file, cell by cell, as far as they can be read; of a page in part, what of it makes sense.

By SQLite's published file format (sqlite.org/fileformat2.html): pages and cells of section 1.6, records of section 2.1.
"""

import struct
from collections.abc import Iterator, Sequence

import msgspec

from collector.store.pages import Image

__all__ = ["INDEX_LEAF", "TABLE_LEAF", "Child", "Leaf", "Value", "children", "leaf"]

Value = int | float | str | bytes | None
INDEX_INNER, TABLE_INNER, INDEX_LEAF, TABLE_LEAF = 2, 5, 10, 13
"""Kinds of pages, by their first byte."""
_SIZES = (0, 1, 2, 3, 4, 6, 8, 8, 0, 0)
"""Bytes that a value takes, by its serial type."""


class Leaf(msgspec.Struct, frozen=True):
    """What a page holds."""

    rows: list[tuple[int, tuple[Value, ...]]]
    """Each row's number, 0 in an index, and its columns."""
    broken: int
    """Rows that cannot be read."""
    chained: list[int]
    """Other pages on which long rows go on."""


class Child(msgspec.Struct, frozen=True):
    """A page below another."""

    number: int
    low: int
    """In a table: its rows have greater numbers,"""
    high: int
    """and none greater than this."""


def kind_of(image: Image, number: int) -> int:
    """Give the kind of a page; 0 where it is none of a b-tree."""
    page = image.page(number)
    kind = 0 if page is None else page[_start(number)]
    return kind if kind in (INDEX_INNER, TABLE_INNER, INDEX_LEAF, TABLE_LEAF) else 0


def leaf(image: Image, number: int) -> Leaf:
    """Read the rows of a page; of an inner page of an index, those that stand in it."""
    kind = kind_of(image, number)
    rows: list[tuple[int, tuple[Value, ...]]] = []
    chained: list[int] = []
    broken = 0
    if kind not in (TABLE_LEAF, INDEX_LEAF, INDEX_INNER):
        return Leaf(rows, broken, chained)
    page = image.page(number)
    assert page is not None, "it has a kind"
    for at in dict.fromkeys(_cells(image, page, number)):  # a hostile page may name one cell a thousand times
        try:
            rows.append(_row(image, page, at, kind, chained))
        except (ValueError, IndexError, struct.error):
            broken += 1
    return Leaf(rows, broken, chained)


def children(image: Image, number: int, low: int, high: int) -> Iterator[Child]:
    """Yield the pages below an inner page, in the order of what they hold; none where it is no inner page."""
    kind = kind_of(image, number)
    if kind not in (TABLE_INNER, INDEX_INNER):
        return
    page = image.page(number)
    assert page is not None, "it has a kind"
    last = low
    for at in _cells(image, page, number):
        key = high
        if kind == TABLE_INNER:
            key = _signed(_varint(page, at + 4)[0])
            if not last <= key <= high:
                continue
        yield Child(int.from_bytes(page[at : at + 4]), last, key)
        last = key if kind == TABLE_INNER else last
    right = _start(number) + 8
    yield Child(int.from_bytes(page[right : right + 4]), last, high)


def _start(number: int) -> int:
    return 100 if number == 1 else 0


def _cells(image: Image, page: bytes, number: int) -> list[int]:
    """List where the cells of a page begin, those that cannot be left out as 0, which is no place of one."""
    start = _start(number)
    inner = page[start] in (INDEX_INNER, TABLE_INNER)
    pointers = start + (12 if inner else 8)
    count = min(int.from_bytes(page[start + 3 : start + 5]), (image.page_bytes - pointers) // 2)
    found = struct.unpack_from(f">{count}H", page, pointers)
    least = pointers + 2 * count
    sound = [least <= at < image.page_bytes - 3 for at in found]
    return [at if good else image.page_bytes for at, good in zip(found, sound, strict=True) if good or not inner]


def _row(image: Image, page: bytes, at: int, kind: int, chained: list[int]) -> tuple[int, tuple[Value, ...]]:
    """Read a row.

    Raises:
        ValueError, IndexError, struct.error: it cannot be read.
    """
    at += 4 if kind == INDEX_INNER else 0
    length, at = _varint(page, at)
    row = 0
    if kind == TABLE_LEAF:
        row, at = _varint(page, at)
        row = _signed(row)
    usable = image.page_bytes
    most = usable - 35 if kind == TABLE_LEAF else (usable - 12) * 64 // 255 - 23
    if length <= most:
        if at + length > usable:
            raise ValueError("goes on beyond its page")
        return row, _record(page[at : at + length])
    least = (usable - 12) * 32 // 255 - 23
    local = least + (length - least) % (usable - 4)
    local = local if local <= most else least
    if at + local + 4 > usable or length > image.pages * usable:
        raise ValueError("goes on beyond its page")
    content = bytearray(page[at : at + local])
    following = int.from_bytes(page[at + local : at + local + 4])
    chain: list[int] = []
    while len(content) < length:
        more = image.page(following)
        if more is None or following in chain or following in chained:
            raise ValueError("a page of it is lost, or belongs to another row")
        chain.append(following)
        following = int.from_bytes(more[:4])
        content += more[4 : min(usable, 4 + length - len(content))]
    values = _record(bytes(content))
    chained += chain
    return row, values


def _record(content: bytes) -> tuple[Value, ...]:
    """Read the columns of a row.

    Raises:
        ValueError, IndexError, struct.error: it is none.
    """
    head, at = _varint(content, 0)
    types: Sequence[int] = content[at:head]
    if not types or max(types) >= 128:  # some takes more than a byte
        types = []
        while at < head:
            kind, at = _varint(content, at)
            types.append(kind)
        if at != head:
            raise ValueError("the head of a row is spoilt")
    at = head
    values: list[Value] = []
    for kind in types:
        if 1 <= kind <= 6:
            end = at + _SIZES[kind]
            values.append(int.from_bytes(content[at:end], signed=True))
        else:
            end = at + ((kind - 12) // 2 if kind >= 12 else _SIZES[kind])
            values.append(_value(kind, content[at:end]))
        at = end
    if at != len(content):
        raise ValueError("a row does not end where it should")
    return tuple(values)


def _value(kind: int, content: bytes) -> Value:
    if kind == 0:
        return None
    if kind == 7:
        return float(struct.unpack(">d", content)[0])
    if kind in (8, 9):
        return kind - 8
    if kind < 12:
        raise ValueError("no type of a value")
    return content.decode() if kind & 1 else content


def _varint(content: bytes, at: int) -> tuple[int, int]:
    """Read a number of one to nine bytes; give it and where it ends."""
    value = content[at]
    if value < 128:
        return value, at + 1
    value = 0
    for k in range(8):
        byte = content[at + k]
        value = value << 7 | byte & 127
        if byte < 128:
            return value, at + k + 1
    return value << 8 | content[at + 8], at + 9


def _signed(number: int) -> int:
    return number - (1 << 64) if number >= 1 << 63 else number
