"""``/health``: whether the process lives, and whether it can answer."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel, Field

from api.deps import HouseDep
from api.routes.documented import problems

router = APIRouter(tags=["health"])


class Health(BaseModel):
    """How the process is."""

    status: str = Field(description="live or ready.", examples=["ready"])


@router.get(
    "/health/live",
    operation_id="readLiveness",
    summary="Ask whether the process lives",
    description="Touches nothing.",
    responses=problems(),
)
async def live() -> Health:
    """Return that the process lives."""
    return Health(status="live")


@router.get(
    "/health/ready",
    operation_id="readReadiness",
    summary="Ask whether the service can answer",
    description="The catalog and the rule book are open. A service with a broken one does not start at all.",
    responses=problems(),
)
async def ready(_house: HouseDep) -> Health:
    """Return that the service can answer."""
    return Health(status="ready")
