"""What every model of a body, and every model of an answer, has in common."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class In(BaseModel):
    """Input: unknown fields are faults, since a misspelled one would be a silent loss."""

    model_config = ConfigDict(extra="forbid")


class Out(BaseModel):
    """Output: fields that rules add later pass through."""

    model_config = ConfigDict(extra="allow")
