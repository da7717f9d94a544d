"""``[digest]``: a message about the whole cellar, every day or every week."""

from __future__ import annotations

__all__ = ["WEEKDAYS", "DigestSettings"]

import typing
from datetime import time
from typing import Annotated, Final, Literal

from pydantic import BeforeValidator

from ingest.cellar.connections import time_of_day
from ingest.cellar.form import Table

Weekday = Literal["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
# In the order of ``date.weekday``.
WEEKDAYS: Final[tuple[str, ...]] = typing.get_args(Weekday)
_USUAL_DAY: Final[Weekday] = "Monday"


class DigestSettings(Table):
    """``[digest]``. every: day or week; on: of a weekly one, the day; at: local time of the site."""

    every: Literal["day", "week"] = "day"
    on: Weekday | None = None
    at: Annotated[time, BeforeValidator(time_of_day)] = time(7, 0)

    @property
    def weekday(self) -> int | None:
        """The day of a weekly digest, 0 for Monday; None for a daily one."""
        return None if self.every == "day" else WEEKDAYS.index(self.on or _USUAL_DAY)
