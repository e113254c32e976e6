"""Wrong codes from one address: so many in a while, then it has to wait.

Pure: no Django. Kept in the memory of this process only and gone with it: no address
is stored, and in memory stands a keyed hash of it, whose key is drawn anew at each
start. With several server processes each counts for itself, so what is let through is
at most the limit times their number; the codes themselves are what cannot be guessed
(54 bits, see :func:`producer.codes.new_bottle_code`).

>>> clock = iter([0, 1, 2, 10]).__next__
>>> slowing = Slowing(most=2, window=10, clock=clock)
>>> slowing.miss("192.0.2.7"), slowing.miss("192.0.2.7")
(None, None)
>>> slowing.wait("192.0.2.7"), slowing.wait("192.0.2.8"), slowing.wait("192.0.2.7")
(8, 0, 0)
"""

from __future__ import annotations

import hashlib
import ipaddress
import math
import secrets
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable

NETWORK_OF_ONE = 64  # bits: one household has a whole IPv6 network of them to itself


class Slowing:
    """Counts the misses of each address within a window of time.

    ``most`` misses within ``window`` seconds, and the address waits until the oldest
    of them is out of the window; 0 slows nobody. Of ``places`` addresses at most
    something is known, the latest; so memory is bounded whoever asks.
    """

    def __init__(
        self,
        *,
        most: int,
        window: float,
        places: int = 10_000,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.most, self.window, self.places = most, window, places
        self._clock = clock
        self._key = secrets.token_bytes(32)
        self._misses: OrderedDict[bytes, deque[float]] = OrderedDict()
        self._lock = threading.Lock()

    def wait(self, address: str) -> int:
        """Return how many whole seconds an address still has to wait; mostly 0.

        Without an address nobody can be told from anybody else, and nobody waits.
        """
        if not address or not self._misses:
            return 0
        with self._lock:
            misses = self._misses.get(self._hash(address))
            if misses is None or len(misses) < self.most:
                return 0
            left = misses[0] + self.window - self._clock()
        return max(0, math.ceil(left))

    def miss(self, address: str) -> None:
        """Note that this address asked for a code that is none of ours."""
        if not address or not self.most:
            return
        key = self._hash(address)
        with self._lock:
            misses = self._misses.setdefault(key, deque(maxlen=self.most))
            misses.append(self._clock())
            self._misses.move_to_end(key)
            while len(self._misses) > self.places:
                self._misses.popitem(last=False)

    def _hash(self, address: str) -> bytes:
        return hashlib.blake2b(
            network_of(address).encode(), key=self._key, digest_size=16
        ).digest()


def network_of(address: str) -> str:
    """Return what one caller is known by: an IPv4 address, the /64 of an IPv6 one.

    What is no address is taken as it stands.

    >>> network_of("192.0.2.7"), network_of("2001:db8:1:2:aaaa::1")
    ('192.0.2.7', '2001:db8:1:2::')
    >>> network_of("::ffff:192.0.2.7"), network_of("elsewhere")
    ('192.0.2.7', 'elsewhere')
    """
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(known, ipaddress.IPv4Address):
        return str(known)
    if known.ipv4_mapped:
        return str(known.ipv4_mapped)
    network = ipaddress.ip_network((int(known), NETWORK_OF_ONE), strict=False)
    return str(network.network_address)
