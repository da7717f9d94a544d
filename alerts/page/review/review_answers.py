"""What ``/api/review/{vessel}`` gives, as the OpenAPI document describes it."""

from __future__ import annotations

__all__ = ["ReviewAnswer"]

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

_Verdict = Literal["in order", "not known", "take care", "do not"]


class ReviewPoint(BaseModel):
    """One point with its verdict. What more it holds depends on the point: numbers, whose keys end in their unit."""

    model_config = ConfigDict(extra="allow")

    title: str
    verdict: _Verdict
    reason: str
    lines: list[str] = Field(description="more, one thing each")


class ReviewAnswer(BaseModel):
    """A review, as ``leeside review --json`` prints it; docs/commands.md lists the keys of each point."""

    work: Literal["racking", "bottling"] = Field(alias="for")
    vessel: str
    to: str | None = Field(description="the receiving vessel")
    at: str
    verdict: _Verdict = Field(description="the worst of the points")
    sections: dict[str, ReviewPoint]
    checklist: list[str] = Field(description="the work in order; empty where a point says do not")
    cautions: list[str]
