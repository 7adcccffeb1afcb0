"""A property worked out once, on first use."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, TypeVar, overload

Value = TypeVar("Value")


class once(Generic[Value]):  # noqa: N801 -- used as a decorator
    """As ``functools.cached_property``, which before Python 3.12 takes a lock at each first use.

    Two threads may work a value out twice; both get the same.
    """

    def __init__(self, work_out: Callable[[Any], Value]) -> None:
        """Wrap a method without arguments."""
        self._work_out = work_out
        self.__doc__ = work_out.__doc__

    def __set_name__(self, owner: type, name: str) -> None:
        """Remember under which name the value is kept."""
        self._name = name

    @overload
    def __get__(self, instance: None, owner: type) -> once[Value]: ...

    @overload
    def __get__(self, instance: object, owner: type) -> Value: ...

    def __get__(self, instance: object | None, owner: type) -> once[Value] | Value:
        """Work the value out and keep it in the instance, where it is found first from now on."""
        if instance is None:
            return self
        value = instance.__dict__[self._name] = self._work_out(instance)
        return value
