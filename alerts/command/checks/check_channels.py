"""Channels beside mail, as `leeside check` and `check --live` try them: nothing is sent."""

from __future__ import annotations

__all__ = ["live_channels", "read_channels"]

from collections.abc import Iterator, Mapping
from typing import Final

from alerts.command.checks.check_result import CheckResult, failed, passed
from ingest.cellar import PLACEHOLDER, Cellar, ChannelSettings
from ingest.errors import IngestError

_PART: Final = "channel"
# Reading a URL visits nobody.
_READS_WITHIN_S: Final = 20.0


def read_channels(cellar: Cellar, environ: Mapping[str, str]) -> Iterator[CheckResult]:
    """Read the URL of each apprise channel as far as it can be found here; gives only what is wrong.

    A variable that is not set here may be set where leeside runs, and a file may be readable only there.
    """
    for channel in cellar.channel:
        if channel.kind == "apprise" and _is_here(channel, cellar, environ):
            result = _apprise(channel, cellar, environ)
            if not result.ok:
                yield result


def live_channels(cellar: Cellar, environ: Mapping[str, str]) -> Iterator[CheckResult]:
    """Try each channel without sending anything."""
    for channel in cellar.channel:
        if channel.kind == "apprise":
            yield _apprise(channel, cellar, environ)
        elif channel.kind == "webhook":
            yield _webhook(channel, cellar, environ)


def _is_here(channel: ChannelSettings, cellar: Cellar, environ: Mapping[str, str]) -> bool:
    if channel.url_env is not None:
        return bool(environ.get(channel.url_env))
    try:
        (cellar.base / (channel.url_file or "")).read_bytes()
    except PermissionError:
        return False
    except OSError:
        return True  # the reason is worth a line
    return True


def _apprise(channel: ChannelSettings, cellar: Cellar, environ: Mapping[str, str]) -> CheckResult:
    from alerts.channels.apprise_channel import ask_apprise, filled_in

    try:
        url = channel.apprise_url(environ, cellar.base)
    except IngestError as error:
        return failed(_PART, channel.id, str(error))
    for recipient in cellar.recipients:
        if recipient.channel == channel.id and (PLACEHOLDER in url) != bool(recipient.address):
            text = (
                f'its url has no {PLACEHOLDER}, so the address would not be used; write {channel.id} = ""'
                if recipient.address
                else f"its url has {PLACEHOLDER}; give the address that it stands for"
            )
            return failed(_PART, channel.id, f"[[person]] {recipient.person}: {text}")
    address = next((each.address for each in cellar.recipients if each.channel == channel.id), "nobody")
    trouble = ask_apprise({"url": filled_in(url, address)}, _READS_WITHIN_S)
    if trouble:
        return failed(_PART, channel.id, f"its url cannot be read: {trouble}")
    return passed(_PART, channel.id, "its url can be read; nothing was sent")


def _webhook(channel: ChannelSettings, cellar: Cellar, environ: Mapping[str, str]) -> CheckResult:
    from alerts.channels.webhook import TIMEOUT_S, reach

    try:
        channel.secret(environ, cellar.base)
    except IngestError as error:
        return failed(_PART, channel.id, str(error))
    assert channel.url is not None
    ca_file = None if channel.ca_file is None else cellar.base / channel.ca_file
    trouble = reach(channel.url, channel.timeout_s or TIMEOUT_S, ca_file)
    if trouble:
        return failed(_PART, channel.id, trouble)
    return passed(_PART, channel.id, "its server can be reached; nothing was posted, so its secret was not tried")
