"""Problem details (RFC 9457) as the document describes them."""

from __future__ import annotations

from pydantic import BaseModel, Field


class ProblemEntry(BaseModel):
    """One field that does not fit."""

    pointer: str = Field(description="JSON Pointer (RFC 6901) into the body, or query/NAME.", examples=["/quantity"])
    code: str = Field(description="What is wrong, for programs.", examples=["too_large"])
    detail: str = Field(description="What is wrong, in words.", examples=["at most 1000"])


class Problem(BaseModel):
    """An error (RFC 9457). What the caller sent is not repeated."""

    type: str = Field(description="Path that explains this kind of error; stable.", examples=["/problems/not-found"])
    title: str = Field(description="The kind of error in words; the same for each type.")
    status: int = Field(description="HTTP status.", examples=[404])
    detail: str = Field(description="What happened this time.")
    instance: str = Field(description="This occurrence: carries the request's id.")
    errors: list[ProblemEntry] | None = Field(None, max_length=50, description="The fields at fault, at most 50.")


class ProblemTypeOut(BaseModel):
    """What a kind of error means."""

    type: str = Field(description="Its path.")
    title: str = Field(description="Its title.")
    status: int = Field(description="HTTP status that it comes with.")
    explains: str = Field(description="What it means, and what to do.")


class ProblemTypeList(BaseModel):
    """Every kind of error."""

    items: list[ProblemTypeOut] = Field(description="By status.")
