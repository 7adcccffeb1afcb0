"""Numbers of completions, exact at any size: whole numbers of 64 bits while they fit, else remainders put together.

The remainders are taken modulo primes below ``2 ** 31``, so that products fit, and joined by the Chinese remainder
theorem.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import frexp, isqrt

import numpy as np

from rules.diagram.constraint import Whole
from rules.diagram.passes import COUNTS, Edges, Weights, modulo, through

#: Below this a sum of products of counts cannot wrap, whatever the rounding of the estimate.
_FITS = 61
#: Bits of each prime, rounded down.
_PRIME_BITS = 30


def bits(parts: Sequence[Edges], weights: Sequence[Weights]) -> int:
    """How many bits are sure to hold the number of all ways through; ``weights`` are counts, one a label and level.

    Reckoned in floating point with exponents kept apart, so that no size is too large.
    """
    beyond = np.ones(parts[-1].next_nodes if parts else 1)
    scale = 0
    for part, weight in zip(reversed(parts), reversed(weights), strict=True):
        beyond = part.at_sources(np.add, weight[part.label] * beyond[part.targets], 0.0)
        _, exponent = frexp(float(beyond.max()))
        beyond = np.ldexp(beyond, -exponent)
        scale += exponent
    return scale + 1


def counted(parts: Sequence[Edges], weights: Sequence[Weights], most_bits: int) -> tuple[int, list[list[int]]]:
    """The number of ways through, and for each slot and value the number through it, as Python's whole numbers.

    ``most_bits`` are enough for each of them.
    """
    if most_bits <= _FITS:
        whole, counts = through(parts, weights, COUNTS)
        return int(whole), [numbers.tolist() for numbers in counts]
    primes = _primes(most_bits // _PRIME_BITS + 1)
    rests = [through(parts, [weight % prime for weight in weights], modulo(prime)) for prime in primes]
    total = _joined([np.array([rest[0]]) for rest in rests], primes)[0]
    values = [_joined([rest[1][slot] for rest in rests], primes) for slot in range(len(parts))]
    return total, values


def _joined(rests: Sequence[Whole | Weights], primes: Sequence[int]) -> list[int]:
    """The numbers that leave these remainders, one array of remainders a prime."""
    numbers = [0] * len(rests[0])
    product = 1
    for remainders, prime in zip(rests, primes, strict=True):
        inverse = pow(product, -1, prime)
        for at, remainder in enumerate(remainders.tolist()):
            numbers[at] += product * ((remainder - numbers[at]) * inverse % prime)
        product *= prime
    return numbers


def _primes(count: int) -> list[int]:
    """The largest primes below ``2 ** 31``."""
    small = [
        number for number in range(2, isqrt(1 << 31) + 1) if all(number % low for low in range(2, isqrt(number) + 1))
    ]
    found: list[int] = []
    candidate = (1 << 31) - 1
    while len(found) < count:
        if all(candidate % low for low in small):
            found.append(candidate)
        candidate -= 2
    return found
