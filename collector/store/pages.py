"""The pages of a SQLite file and of its journal, read without SQLite, so that damage to one hides none of the others.

Nothing is ever written. By SQLite's published file format (sqlite.org/fileformat2.html): the header of section 1.3,
the list of free pages of 1.5, the journal of section 4.
"""

import struct
from collections.abc import Iterator
from pathlib import Path

__all__ = ["Image"]

MAGIC = b"SQLite format 3\x00"
PAGE_BYTES = 4096
"""Of every store that coldside makes; for a file whose header is lost."""
_JOURNAL_MAGIC = 0x377F0682
_FRAME = struct.Struct(">IIIIII")
"""Page, size of the file in pages after a commit (0: none), two salts, two checksums."""


class Image:
    """What a damaged file and its journal hold, page by page.

    Args:
        path: of the file; its journal, where there is one, lies beside it as `…-wal`.

    Raises:
        OSError: it cannot be read.
    """

    def __init__(self, path: Path) -> None:
        self._file = path.open("rb")
        head = self._file.read(100)
        journal = Path(f"{path}-wal")
        frames = journal.read_bytes() if journal.exists() else b""
        size = int.from_bytes(head[16:18]) if head.startswith(MAGIC) else 0
        size = 65536 if size == 1 else size
        self.headed = size >= 512 and size & (size - 1) == 0
        """Whether the file's header can be believed."""
        self.page_bytes = size if self.headed else PAGE_BYTES
        self._fresh: dict[int, bytes] = {}
        """Pages that stand in the journal, as of its last commit."""
        bytes_long = path.stat().st_size
        self.pages = bytes_long // self.page_bytes + bool(bytes_long % self.page_bytes)
        """How many there are, the journal's included; numbered from 1."""
        for number, page in _committed(frames, self.page_bytes):
            self._fresh[number] = page
        self.pages = max([self.pages, *self._fresh])
        first = self.page(1) or b""
        self.headed = self.headed or first.startswith(MAGIC)
        self._header = first[:100] if self.headed else bytes(100)
        self.version = int.from_bytes(self._header[60:64])
        """The `user_version`; 0 where the header is lost."""

    def page(self, number: int) -> bytes | None:
        """Give a page; None where the file does not hold all of it."""
        if number in self._fresh:
            return self._fresh[number]
        if number < 1:
            return None
        self._file.seek((number - 1) * self.page_bytes)
        found = self._file.read(self.page_bytes)
        return found if len(found) == self.page_bytes else None

    def free(self) -> set[int]:
        """Give the numbers of the pages that hold nothing any more, as far as their list can be followed."""
        found: set[int] = set()
        trunk = int.from_bytes(self._header[32:36])
        while trunk and trunk not in found and (page := self.page(trunk)) is not None:
            following, count = struct.unpack_from(">II", page)
            if following > self.pages or count > self.page_bytes // 4 - 2:
                break
            leaves = struct.unpack_from(f">{count}I", page, 8)
            if not all(1 < leaf <= self.pages for leaf in leaves):
                break
            found |= {trunk, *leaves}
            trunk = following
        return found

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


def _committed(journal: bytes, page_bytes: int) -> Iterator[tuple[int, bytes]]:
    """Yield the pages of a journal's commits, in their order.

    SQLite stops at the first frame whose checksum is wrong. Here only that frame is passed over: the next is checked
    from the checksum that the wrong one says it has.
    """
    if len(journal) < 32:
        return
    magic, salts, order = int.from_bytes(journal[:4]), journal[16:24], "<"
    sums: tuple[int, int] | None = None
    if magic & ~1 == _JOURNAL_MAGIC and int.from_bytes(journal[8:12]) == page_bytes:
        order, sums = ">" if magic & 1 else "<", struct.unpack_from(">II", journal, 24)
    else:  # its header is lost: what the first frame says is held against the others
        salts = journal[40:48]
    waiting: list[tuple[int, bytes]] = []
    for at in range(32, len(journal) - _FRAME.size - page_bytes + 1, _FRAME.size + page_bytes):
        number, size, *_, first, second = _FRAME.unpack_from(journal, at)
        page = journal[at + _FRAME.size : at + _FRAME.size + page_bytes]
        sound = journal[at + 8 : at + 16] == salts  # others are of an earlier life of the journal
        if sound and sums is not None:
            sound = _checksum(order, sums, journal[at : at + 8] + page) == (first, second)
        sums = first, second
        if sound and number:
            waiting.append((number, page))
            if size:
                yield from waiting
                waiting.clear()


def _checksum(order: str, sums: tuple[int, int], content: bytes) -> tuple[int, int]:
    """Go on with the checksum of section 4.2."""
    one, two = sums
    words = iter(struct.unpack(f"{order}{len(content) // 4}I", content))
    for word, following in zip(words, words, strict=True):
        one = (one + word + two) & 0xFFFFFFFF
        two = (two + following + one) & 0xFFFFFFFF
    return one, two
