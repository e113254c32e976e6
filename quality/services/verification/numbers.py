"""A set of whole numbers, a bit each where they lie close together."""

from __future__ import annotations

PAGE = 16  # bits of a number that a page holds: 65,536 numbers in 8 KiB
LOW = (1 << PAGE) - 1


class Numbers:
    """Which row numbers were seen; a million of them take 125 kB.

    >>> seen = Numbers()
    >>> seen.add(7), seen.add(7), 7 in seen, 8 in seen
    (True, False, True, False)
    """

    def __init__(self) -> None:
        self._pages: dict[int, bytearray] = {}

    def add(self, number: int) -> bool:
        """Add a number; return whether it is new."""
        page = self._pages.get(number >> PAGE)
        if page is None:
            page = self._pages[number >> PAGE] = bytearray((LOW + 1) // 8)
        byte, bit = (number & LOW) >> 3, 1 << (number & 7)
        if page[byte] & bit:
            return False
        page[byte] |= bit
        return True

    def __contains__(self, number: int) -> bool:
        """Say whether the number was added."""
        page = self._pages.get(number >> PAGE)
        return page is not None and bool(page[(number & LOW) >> 3] & 1 << (number & 7))
