"""Finding the leather that somebody names on the telephone.

A name is never taken for a code: the answer is a ranking, for a person to read back and choose
from. Spelling is compared by the indel ratio of rapidfuzz, over whole texts and over their words
in any order.
"""

from __future__ import annotations

import unicodedata
from typing import Final

from rapidfuzz import fuzz

from catalog.model import Catalog, Leather

LONGEST_SAID: Final = 120
BEST: Final = 100

# Under this score nothing but single letters agree; set by trying names on the demo catalog.
LEAST: Final = 50


def rank_leathers(catalog: Catalog, said: str) -> list[tuple[Leather, int]]:
    """Rank the leathers of a catalog by how well they fit what was said.

    Args:
        catalog: the catalog; leathers of every status are ranked, retired ones too.
        said: words as heard: a code, a name, an alias, misspelled or in part. What follows the
            first 120 characters is not looked at.

    Returns:
        Leathers with a score from 50 to 100, the best first, those of one score in the order of
        the catalog; 100 is an exact code, name or alias but for case, accents and signs. Empty
        when nothing comes near.
    """
    heard = _plain(said[:LONGEST_SAID])
    if not heard:
        return []
    scored = [(leather, _score(leather, heard)) for leather in catalog.leathers.values()]
    return sorted((pair for pair in scored if pair[1] >= LEAST), key=lambda pair: -pair[1])


def _score(leather: Leather, heard: str) -> int:
    names = [_plain(name) for name in (leather.name, *leather.aliases)]
    return max(_code_score(_plain(leather.code), heard), *(_name_score(name, heard) for name in names))


def _code_score(code: str, heard: str) -> int:
    """Compare a code letter by letter; ``sh gar`` and ``SHGAR`` are the same."""
    return round(fuzz.ratio(code.replace(" ", ""), heard.replace(" ", "")))


def _name_score(name: str, heard: str) -> int:
    """Compare words in any order; a name said in part scores less than one said whole."""
    if name == heard:
        return BEST
    in_part = max(fuzz.token_set_ratio(name, heard), fuzz.partial_ratio(name, heard))
    whole = fuzz.token_sort_ratio(name, heard)
    return min(round((in_part + whole) / 2), BEST - 1)


def _plain(words: str) -> str:
    """Return lower-case letters and digits without accents, one space for anything else."""
    apart = unicodedata.normalize("NFKD", words.casefold())
    kept = "".join(sign for sign in apart if not unicodedata.combining(sign))
    return " ".join("".join(sign if sign.isalnum() else " " for sign in kept).split())
