"""How often a password may be tried: by one address, by all strangers together, and by a browser that is known.

It keeps a bounded number of addresses and browsers.
"""

from __future__ import annotations

__all__ = ["AttemptLimit"]

import ipaddress
from collections import OrderedDict
from typing import Final

from ingest.token_bucket import TokenBucket

# A person who mistypes has five tries, then one a minute; everybody together 30, then one in ten seconds. So a guesser
# has some 8,640 tries a day, from however many addresses: common practice, no source.
_TRIES: Final = 5
_TRY_EVERY_S: Final = 60.0
_ALL_TRIES: Final = 30
_ALL_EVERY_S: Final = 10.0
_MOST_KEPT: Final = 1000


class AttemptLimit:
    """Counts tries. Times are monotonic seconds; call it from one thread."""

    def __init__(self) -> None:
        self._all = TokenBucket(_ALL_TRIES, _ALL_EVERY_S, _ALL_TRIES)
        self._of: OrderedDict[str, TokenBucket] = OrderedDict()
        self._of_known: OrderedDict[str, TokenBucket] = OrderedDict()

    def wait_s(self, address: str, now_s: float, known: str = "") -> float:
        """Take one try of an address, and return 0; or, if there is none, take nothing and return how long to wait.

        known: the mark of a browser that has logged in before, "" for any other. Its tries are its own: what strangers
        have used up is not missing there, and it has no more of them than an address has.
        """
        if known:
            bucket = _bucket(self._of_known, known, now_s)
            wait_s = bucket.wait_s
            bucket.take()
            return wait_s
        bucket = _bucket(self._of, _source(address), now_s)
        self._all.fill(now_s)
        wait_s = max(bucket.wait_s, self._all.wait_s)
        if wait_s == 0:
            bucket.take()
            self._all.take()
        return wait_s

    def succeeded(self, address: str, known: str = "") -> None:
        """Give an address, or a browser that is known, its tries back, since somebody there knows the password."""
        if known:
            self._of_known.pop(known, None)
            return
        self._of.pop(_source(address), None)
        self._all.left = min(self._all.most, self._all.left + 1)


def _bucket(buckets: OrderedDict[str, TokenBucket], name: str, now_s: float) -> TokenBucket:
    """Give the bucket of that name as it stands now; of many, forget the one that was not used for longest."""
    bucket = buckets.pop(name, None) or TokenBucket(_TRIES, _TRY_EVERY_S, _TRIES)
    buckets[name] = bucket  # the newest is the last
    if len(buckets) > _MOST_KEPT:
        buckets.popitem(last=False)
    bucket.fill(now_s)
    return bucket


def _source(address: str) -> str:
    """Name whom an address belongs to: a network of 64 bits is one owner's in IPv6."""
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        return "unknown"
    if isinstance(ip, ipaddress.IPv4Address):
        return str(ip)
    if ip.ipv4_mapped is not None:
        return str(ip.ipv4_mapped)
    return str(ipaddress.ip_network((int(ip) >> 64 << 64, 64)))
