"""Trying out the mirror's server: whether it is there, and would let us write into the bucket.

What is sent is a comment, which the line protocol knows and no server keeps: address, token and bucket are looked at as
with any other request, and nothing is written. (InfluxDB says 400 to a request with nothing in it, in these words from
memory: "writing requires points". By then it has looked at token and bucket.)
"""

from __future__ import annotations

__all__ = ["MirrorCheck", "check_mirror", "judge"]

from collections.abc import Mapping
from pathlib import Path
from typing import Final, NamedTuple

from ingest.cellar import MirrorSettings
from ingest.errors import IngestError
from ingest.mirror.client import NETWORK, Reply, ReplyMeaning, meaning_of
from ingest.mirror.sending import influx_of

_COMMENT: Final = ("# leeside asks whether it may write here",)
_NOTHING_IN_IT: Final = "requires points"


class MirrorCheck(NamedTuple):
    """ok: the mirror would get through; told: how it is, and what to do next."""

    ok: bool
    told: str


def check_mirror(settings: MirrorSettings, environ: Mapping[str, str], base: Path) -> MirrorCheck:
    """Ask the server once. base: the cellar file's folder."""
    try:
        token = settings.token(environ, base)
        influx = influx_of(settings, base)
    except IngestError as error:
        return MirrorCheck(False, str(error))
    try:
        return judge(influx.post(_COMMENT, token), settings)
    finally:
        influx.close()


def judge(reply: Reply, settings: MirrorSettings) -> MirrorCheck:
    """What a reply to the comment means."""
    answer = meaning_of(reply.status)
    said = f"{reply.status}" + (f", '{reply.said}'" if reply.said else "")
    if answer is ReplyMeaning.TAKEN or (answer is ReplyMeaning.SEARCH and _NOTHING_IN_IT in reply.said):
        return MirrorCheck(True, f"would take what we send into bucket {settings.bucket}; nothing was written")
    if reply.status == NETWORK:
        return MirrorCheck(False, f"{reply.said}. {_unreached(reply.said, settings)}")
    if answer is ReplyMeaning.AGAIN:
        return MirrorCheck(False, f"is there and busy ({said}); the mirror tries again by itself, so look again later")
    told = {
        401: _unknown_token(settings),
        403: f"the token may not write into bucket {settings.bucket} of {settings.org}: give it that right",
        404: f"there is no bucket {settings.bucket} of {settings.org}, or no server of this kind at the url",
    }.get(reply.status, "this is no answer of a server that takes the InfluxDB v2 write protocol: look at [mirror] url")
    return MirrorCheck(False, f"{told} (the server says {said})")


def _unreached(said: str, settings: MirrorSettings) -> str:
    if "certificate" in said.lower():
        return "Look at [mirror] ca_file, and at the name in the url: it must stand in the server's certificate"
    if "no answer in time" in said:
        return f"Is the server at {settings.url} well? It has {settings.timeout_s:g} s, see [mirror] timeout"
    return "Does the server run, and are host and port in [mirror] url right?"


def _unknown_token(settings: MirrorSettings) -> str:
    if settings.token_env is None and settings.token_file is None:
        return "the server wants a token: name one by [mirror] token_file or token_env"
    key = "token_file" if settings.token_env is None else "token_env"
    return f"the server does not know the token of [mirror] {key}: make one that may write, and put it there"
