"""What a key may ask for beyond the address."""

from __future__ import annotations

from api.errors import ProblemError
from api.keys import Key
from api.schemas.spec import SpecIn
from api.visibility import Caller


def check_lots(spec: SpecIn, key: Key) -> None:
    """Raise where a spec names lots and the key is not the workshop's own."""
    if spec.lots and key.caller < Caller.STAFF:
        raise ProblemError(
            "key-not-enough",
            "only the workshop's staff names lots",
            errors=[{"pointer": "/lots", "code": "not_offered", "detail": "leave lots out"}],
        )
