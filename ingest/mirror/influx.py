"""The client library: one request, one reply, no retries of its own. Imported only where a mirror is set.

The library's batching writer drops what it cannot send; here it only carries a batch that the store still holds.
"""

from __future__ import annotations

__all__ = ["Influx"]

import json
from collections.abc import Sequence
from pathlib import Path

import urllib3
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.rest import ApiException
from influxdb_client.service.write_service import WriteService

from ingest.mirror.client import NETWORK, Reply


class Influx:
    """Writes lines into one bucket."""

    def __init__(self, *, url: str, org: str, bucket: str, timeout_s: float, ca_file: Path | None) -> None:
        self._url = url
        self._org = org
        self._bucket = bucket
        self._timeout_ms = round(timeout_s * 1000)
        self._ca_file = ca_file
        self._token: str | None = None
        self._client: InfluxDBClient | None = None

    def post(self, lines: Sequence[str], token: str | None) -> Reply:
        """Send lines in one request, with the token of now."""
        writing = WriteService(self._opened(token).api_client)  # type: ignore[no-untyped-call]  # has no hints
        try:
            _, status, _ = writing.post_write_with_http_info(  # type: ignore[no-untyped-call]  # has no hints
                org=self._org,
                bucket=self._bucket,
                body="\n".join(lines).encode(),
                precision="ns",
                content_type="text/plain; charset=utf-8",
            )
        except ApiException as error:
            if not error.status:  # a failed TLS handshake
                return Reply(NETWORK, str(error.reason))
            retry_after = "" if error.headers is None else error.headers.get("Retry-After")
            return Reply(int(error.status), _words(error.body), str(retry_after or ""))
        except (urllib3.exceptions.HTTPError, OSError) as error:
            # The library leaves the half-used connection in its pool; a new one is surer.
            self.close()
            return Reply(NETWORK, _told(error))
        except UnicodeDecodeError:  # the library reads every body as UTF-8 before it looks at the status
            return Reply(NETWORK, "an answer that is no UTF-8 text")
        return Reply(int(status))

    def _opened(self, token: str | None) -> InfluxDBClient:
        if self._client is not None and self._token != token:
            self.close()
        if self._client is None:
            self._token = token
            self._client = InfluxDBClient(
                url=self._url,
                token=token or "",
                org=self._org,
                timeout=self._timeout_ms,
                enable_gzip=True,
                ssl_ca_cert=None if self._ca_file is None else str(self._ca_file),
            )
        return self._client

    def close(self) -> None:
        """Close the connection; the next ``post`` opens another."""
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]  # has no hints
            self._client = None


def _words(body: object) -> str:
    """What an error's body says: its ``message`` where it is the JSON of InfluxDB, else its text, cut short."""
    text = body.decode("utf-8", "replace") if isinstance(body, bytes) else str(body or "")
    try:
        found = json.loads(text)
    except ValueError:
        found = None
    if isinstance(found, dict) and found.get("message"):
        text = str(found["message"])
    return " ".join(text.split())[:300]


def _told(error: Exception) -> str:
    text = " ".join(str(error).split())[:300] or type(error).__name__
    # A connection that was never made counts among the library's time-outs, for old times' sake.
    if isinstance(error, urllib3.exceptions.NewConnectionError):
        return "no connection: " + text.rpartition(": ")[2]
    if isinstance(error, urllib3.exceptions.TimeoutError):
        return "no answer in time"
    if isinstance(error, urllib3.exceptions.ProtocolError):
        return "the connection broke before an answer came"
    return text
