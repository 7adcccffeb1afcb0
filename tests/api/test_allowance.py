"""How often a key may ask, on a clock that a test moves by hand."""

from __future__ import annotations

import pytest

from api.allowance import Allowance, Taken


class Hand:
    """A clock moved by hand."""

    def __init__(self) -> None:
        self.at = 1000.0

    def __call__(self) -> float:
        return self.at


@pytest.fixture
def clock() -> Hand:
    return Hand()


def test_a_window_begins_with_the_first_request_and_ends_as_a_whole(clock: Hand) -> None:
    allowance = Allowance("2/minute", clock)
    assert allowance.take("a") == Taken(granted=True, left=1, seconds=60)
    clock.at += 59.5
    assert allowance.take("a") == Taken(granted=True, left=0, seconds=1)
    assert allowance.take("a") == Taken(granted=False, left=0, seconds=1)
    clock.at += 0.5
    assert allowance.take("a") == Taken(granted=True, left=1, seconds=60)


@pytest.mark.parametrize("waited", [0, 0.1, 17.3, 59.999])
def test_whoever_waits_as_long_as_told_is_granted(clock: Hand, waited: float) -> None:
    allowance = Allowance("1/minute", clock)
    allowance.take("a")
    clock.at += waited
    refused = allowance.take("a")
    assert not refused.granted
    clock.at += refused.seconds
    assert allowance.take("a").granted


def test_asking_on_while_refused_prolongs_nothing(clock: Hand) -> None:
    allowance = Allowance("1/minute", clock)
    allowance.take("a")
    for _ in range(100):
        clock.at += 0.5
        assert not allowance.take("a").granted
    clock.at += 10
    assert allowance.take("a").granted


def test_keys_are_counted_apart(clock: Hand) -> None:
    allowance = Allowance("1/minute", clock)
    assert [allowance.take(key).granted for key in ("a", "b", "a", "b")] == [True, True, False, False]


def test_the_headers_are_structured_fields(clock: Hand) -> None:
    allowance = Allowance("120/minute", clock)
    assert allowance.headers(allowance.take("a")) == [
        (b"ratelimit-policy", b'"page";q=120;w=60'),
        (b"ratelimit", b'"page";r=119;t=60'),
    ]


def test_the_headers_name_the_class_of_keys_that_is_counted(clock: Hand) -> None:
    allowance = Allowance("600/minute", clock, policy="sheet")
    assert allowance.headers(allowance.take("a")) == [
        (b"ratelimit-policy", b'"sheet";q=600;w=60'),
        (b"ratelimit", b'"sheet";r=599;t=60'),
    ]
