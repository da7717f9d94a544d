"""What `leeside check --live` asks the mirror's server: whether it is there, and would let us write into the bucket.

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
from ingest.mirror.client import ReplyMeaning, meaning_of, open_client
from ingest.mirror.reply import NETWORK, Reply

_COMMENT: Final = ("# leeside asks whether it may write here",)
_NO_POINTS: Final = "requires points"


class MirrorCheck(NamedTuple):
    """ok: the mirror would get through; text: how it is, and what to do next."""

    ok: bool
    text: str


def check_mirror(settings: MirrorSettings, environ: Mapping[str, str], base: Path) -> MirrorCheck:
    """Ask the server once. base: the cellar file's folder."""
    try:
        token = settings.token(environ, base)
        client = open_client(settings, base)
    except IngestError as error:
        return MirrorCheck(False, str(error))
    try:
        return judge(client.post(_COMMENT, token), settings)
    finally:
        client.close()


def judge(reply: Reply, settings: MirrorSettings) -> MirrorCheck:
    """Return what a reply to the comment means."""
    meaning = meaning_of(reply.status)
    if meaning is ReplyMeaning.TAKEN or (meaning is ReplyMeaning.SEARCH and _NO_POINTS in reply.text):
        return MirrorCheck(True, f"would take what we send into bucket {settings.bucket}; nothing was written")
    if reply.status == NETWORK:
        return MirrorCheck(False, f"{reply.text}. {_unreached(reply.text, settings)}")
    answer = f"{reply.status}" + (f", '{reply.text}'" if reply.text else "")
    if meaning is ReplyMeaning.AGAIN:
        return MirrorCheck(
            False, f"is there and busy ({answer}); the mirror tries again by itself, so look again later"
        )
    text = {
        401: _unknown_token(settings),
        403: f"the token may not write into bucket {settings.bucket} of {settings.org}: give it that right",
        404: f"there is no bucket {settings.bucket} of {settings.org}, or no server of this kind at the url",
    }.get(
        reply.status,
        "this is not an answer of a server that takes the InfluxDB v2 write protocol: look at [mirror] url",
    )
    return MirrorCheck(False, f"{text} (the server says {answer})")


def _unreached(text: str, settings: MirrorSettings) -> str:
    if "certificate" in text.lower():
        return "Look at [mirror] ca_file, and at the name in the url: it must stand in the server's certificate"
    if "no answer in time" in text:
        return f"Is the server at {settings.url} well? It has {settings.timeout_s:g} s, see [mirror] timeout"
    return "Does the server run, and are host and port in [mirror] url right?"


def _unknown_token(settings: MirrorSettings) -> str:
    if settings.token_env is None and settings.token_file is None:
        return "the server wants a token: name one by [mirror] token_file or token_env"
    key = "token_file" if settings.token_env is None else "token_env"
    return f"the server does not know the token of [mirror] {key}: make one that may write, and put it there"
