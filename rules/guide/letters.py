"""Letters to try where a spec has none yet: whether some monogram can be made, whoever orders it."""

from __future__ import annotations

from string import ascii_uppercase

from catalog.model import Typeface
from rules.measures.monograms import MIRROR_SAFE


def letters_to_try(face: Typeface) -> tuple[str, ...]:
    """Return single capitals, one for each way in which a typeface's letters differ to rules.

    What rules know of a letter is how many good and worn pieces the case has, and whether it reads the same
    mirrored; all are one advance wide. More letters only ask for more.
    """
    found: dict[tuple[int, int, bool], str] = {}
    for letter in ascii_uppercase:
        told = (
            face.sorts.get(letter, face.sorts_per_letter),
            face.worn.get(letter, 0),
            letter in MIRROR_SAFE,
        )
        found.setdefault(told, letter)
    return tuple(found.values())
