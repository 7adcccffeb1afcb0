"""One effect for one key: a request that is sent again gets the answer that the first one got.

The answer is kept in the transaction of its effect, under who asked, what for, and the key. A
refusal has no effect; it is kept all the same, so that a retry meets what was said before.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from pydantic_core import from_json, to_json
from sqlalchemy import Connection, insert, select

from api.errors import MEDIA_TYPE, ProblemError, problem_body
from api.store.engine import Store, Write
from api.store.stock import dumped
from api.store.tables import ANSWERED
from api.visibility import Caller, problem_view

#: Seconds that a second request waits for the first with the same key.
PATIENCE: Final = 8.0
#: What is kept of refusals: only what the caller would meet again with the same words.
_KEPT: Final = frozenset({409})


@dataclass(frozen=True, slots=True)
class Answer:
    """What is sent: status, headers, JSON text. ``record`` is the record that it shows, for forgetting.

    What is not ``kept`` stands for this once: the same request may come to another answer later.
    """

    status: int
    headers: Mapping[str, str]
    body: str
    record: str | None = None
    kept: bool = True


@dataclass(frozen=True, slots=True)
class Asked:
    """Who asked for what, with which key; ``fingerprint`` is a hash of the body's meaning."""

    client: str
    operation: str
    key: str
    fingerprint: str
    request_id: str
    at: str
    who: Caller

    @property
    def name(self) -> tuple[str, str, str]:
        """Return under what the answer is kept."""
        return self.client, self.operation, self.key


def refusal_of(error: ProblemError, asked: Asked, *, kept: bool = True) -> Answer:
    """Return the answer that tells an error."""
    body = to_json(problem_body(error, asked.request_id)).decode()
    return Answer(error.kind.status, {**error.headers, "content-type": MEDIA_TYPE}, body, kept=kept)


def fingerprint_of(body: Any) -> str:
    """Return a hash of a parsed body: spaces and the order of names make no difference."""
    return sha256(to_json(_sorted(body))).hexdigest()


def _sorted(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {name: _sorted(value[name]) for name in sorted(value)}
    return [_sorted(each) for each in value] if isinstance(value, list) else value


def replayed(connection: Connection, asked: Asked) -> Answer | None:
    """Return the answer given before, or None.

    Raises:
        ProblemError: the key came with another body before.
    """
    found = connection.execute(
        select(ANSWERED).where(
            ANSWERED.c.client == asked.client, ANSWERED.c.operation == asked.operation, ANSWERED.c.key == asked.key
        )
    ).one_or_none()
    if found is None:
        return None
    if found.fingerprint != asked.fingerprint:
        raise ProblemError("key-reused", "this Idempotency-Key came with another body before")
    return Answer(found.status, from_json(found.headers), found.body, found.record)


def keep(write: Write, asked: Asked, answer: Answer) -> Answer:
    """Keep an answer with its effect, and return it."""
    write.connection.execute(
        insert(ANSWERED),
        {
            "client": asked.client,
            "operation": asked.operation,
            "key": asked.key,
            "fingerprint": asked.fingerprint,
            "status": answer.status,
            "headers": dumped(dict(answer.headers)),
            "body": answer.body,
            "record": answer.record,
            "at": asked.at,
        },
    )
    return answer


def in_one(store: Store, asked: Asked, act: Callable[[Write], Answer]) -> Answer:
    """Act and keep the answer in one transaction, unless another process has done so meanwhile."""
    with store.write() as write:
        again = replayed(write.connection, asked)
        if again is not None:
            return again
        answer = act(write)
        return keep(write, asked, answer) if answer.kept else answer


class Running:
    """The keys whose requests this process is answering."""

    def __init__(self) -> None:
        """Begin with none."""
        self._names: set[tuple[str, str, str]] = set()
        self._changed = threading.Condition()

    @contextmanager
    def alone(self, asked: Asked) -> Iterator[None]:
        """Answer one request with a key at a time.

        Raises:
            ProblemError: the other one takes too long.
        """
        with self._changed:
            if not self._changed.wait_for(lambda: asked.name not in self._names, PATIENCE):
                raise ProblemError("key-running", "the same request is still being answered")
            self._names.add(asked.name)
        try:
            yield
        finally:
            with self._changed:
                self._names.discard(asked.name)
                self._changed.notify_all()


def once(store: Store, running: Running, asked: Asked, act: Callable[[], Answer]) -> Answer:
    """Return the answer to a request, acting at most once for its key.

    ``act`` does so in one transaction, most often by :func:`in_one`.
    """
    with running.alone(asked):
        with store.read() as connection:
            found = replayed(connection, asked)
        if found is not None:
            return found
        try:
            return act()
        except ProblemError as bad:
            bad.members = problem_view(bad.members, asked.who)
            if bad.kind.status not in _KEPT:
                raise
            answer = refusal_of(bad, asked)
            with store.write() as write:
                return replayed(write.connection, asked) or keep(write, asked, answer)
