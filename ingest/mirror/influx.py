"""The client library: one request, one reply, no retries of its own. Imported only where a mirror is set.

The library's batching writer drops what it cannot send; here it only carries a batch that the store still holds.
"""

from __future__ import annotations

__all__ = ["Influx"]

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import urllib3
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.rest import ApiException
from influxdb_client.service.write_service import WriteService

from ingest.cellar import MirrorSettings
from ingest.mirror.reply import NETWORK, Reply
from ingest.mirror.short_replies import ShortReplies
from ingest.plain_text import one_line

_LONGEST_TEXT: Final = 300


class Influx:
    """Writes lines into the bucket of a ``[mirror]`` table."""

    def __init__(self, settings: MirrorSettings, ca_file: Path | None) -> None:
        self._settings = settings
        self._ca_file = ca_file
        self._token: str | None = None
        self._client: InfluxDBClient | None = None

    def post(self, lines: Sequence[str], token: str | None) -> Reply:
        """Send lines in one request."""
        service = WriteService(self._connected(token).api_client)  # type: ignore[no-untyped-call]  # has no hints
        try:
            _, status, _ = service.post_write_with_http_info(  # type: ignore[no-untyped-call]  # has no hints
                org=self._settings.org,
                bucket=self._settings.bucket,
                body="\n".join(lines).encode(),
                precision="ns",
                content_type="text/plain; charset=utf-8",
            )
        except ApiException as error:
            if not error.status:  # a failed TLS handshake
                return Reply(NETWORK, str(error.reason))
            retry_after = "" if error.headers is None else error.headers.get("Retry-After")
            return Reply(int(error.status), _body_text(error.body), str(retry_after or ""))
        except (urllib3.exceptions.HTTPError, OSError) as error:
            # The library leaves the half-used connection in its pool; a new one is surer.
            self.close()
            return Reply(NETWORK, _error_text(error))
        except UnicodeDecodeError:  # the library reads every body as UTF-8 before it looks at the status
            return Reply(NETWORK, "an answer that is not UTF-8 text")
        return Reply(int(status))

    def _connected(self, token: str | None) -> InfluxDBClient:
        if self._client is not None and self._token != token:
            self.close()
        if self._client is None:
            self._token = token
            self._client = InfluxDBClient(
                url=self._settings.url,
                token=token or "",
                org=self._settings.org,
                timeout=round(self._settings.timeout_s * 1000),
                enable_gzip=True,
                ssl_ca_cert=None if self._ca_file is None else str(self._ca_file),
            )
            rest = self._client.api_client.rest_client
            short = ShortReplies(rest.pool_manager, self._settings.timeout_s)
            rest.pool_manager = short  # type: ignore[assignment]  # does what the library asks of its own
        return self._client

    def close(self) -> None:
        """Close the connection; the next ``post`` opens another."""
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]  # has no hints
            self._client = None


def _body_text(body: object) -> str:
    """Return an error's body cut short: its ``message`` where it is the JSON of InfluxDB, else all of its text."""
    text = body.decode("utf-8", "replace") if isinstance(body, bytes) else str(body or "")
    try:
        data = json.loads(text)
    except ValueError:
        data = None
    if isinstance(data, dict) and data.get("message"):
        text = str(data["message"])
    return one_line(" ".join(text.split())[:_LONGEST_TEXT])


def _error_text(error: Exception) -> str:
    text = one_line(" ".join(str(error).split())[:_LONGEST_TEXT]) or type(error).__name__
    # A connection that was never made counts among the library's time-outs, for old times' sake.
    if isinstance(error, urllib3.exceptions.NewConnectionError):
        return "no connection: " + text.rpartition(": ")[2]
    if isinstance(error, urllib3.exceptions.TimeoutError):
        return "no answer in time"
    if isinstance(error, urllib3.exceptions.ProtocolError):
        return "the connection broke before an answer came"
    return text
