"""The table ``[heartbeat]``: the regular report by which another machine notices when leeside stops."""

from __future__ import annotations

__all__ = ["HeartbeatSettings"]

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field

from ingest.cellar.amounts import DAY_S, Span, amount
from ingest.cellar.channels import plain_topic, web_address
from ingest.cellar.form import Flag, Table, Text
from ingest.cellar.secret import read_password
from ingest.cellar.units import Dimension
from ingest.errors import IngestError


class HeartbeatSettings(Table):
    """``[heartbeat]``: where leeside reports, every so often, that it works. A secret URL is never in the file.

    url, or url_env or url_file: posted to; topic: at the broker of ``[mqtt]``, retained; either or both.
    """

    url: Annotated[Text, AfterValidator(web_address)] | None = None
    url_env: Text | None = None
    url_file: Text | None = None
    ca_file: Text | None = None
    allow_http: Flag = False
    topic: Annotated[Text, AfterValidator(plain_topic)] | None = None
    every_s: Annotated[float, amount(Dimension.TIME, "s", "5 min", Span(10.0, DAY_S))] = Field(
        default=300.0, alias="every"
    )

    @property
    def posts(self) -> bool:
        """Whether there is a URL."""
        return any(each is not None for each in (self.url, self.url_env, self.url_file))

    def address(self, environ: Mapping[str, str], base: Path) -> str | None:
        """Read the URL, None where there is none. base: the cellar file's folder.

        Raises IngestError that says what is missing or wrong, without the URL in it.
        """
        if self.url is not None:
            return self.url
        url = read_password("[heartbeat]", self.url_env, self.url_file, environ, base, what="url")
        if url is not None:
            try:
                web_address(url)
            except ValueError as error:
                key = "url_env" if self.url_env is not None else "url_file"
                raise IngestError(f"[heartbeat] {key}: what it names is not a URL; allowed: {error}") from None
        return url
