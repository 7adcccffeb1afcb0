"""What people say finds codes, ranked, the same every time."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalog.model import Catalog
from catalog.said import BEST, LEAST, rank_leathers


@pytest.mark.parametrize(
    ("said", "code"),
    [
        ("oxblood shell", "SH-GAR"),
        ("oxblood", "SH-GAR"),
        ("oxblod shel", "SH-GAR"),
        ("garnit", "SH-GAR"),
        ("wine", "SH-GAR"),
        ("sh gar", "SH-GAR"),
        ("SH-BLAK", "SH-BLK"),
        ("navy", "CC-NAV"),
        ("whiskey", "VS-COG"),
        ("walnut pullup", "PU-WAL"),
        ("goat black", "GO-BLK"),
        ("black chèvre", "GO-BLK"),
    ],
)
def test_what_is_said_puts_the_leather_meant_first(oddlestone: Catalog, said: str, code: str) -> None:
    assert rank_leathers(oddlestone, said)[0][0].code == code


@pytest.mark.parametrize("said", ["SH-GAR", "sh gar", "shgar", "Garnet Shell", "OXBLOOD  SHELL"])
def test_an_exact_code_name_or_alias_has_the_best_score(oddlestone: Catalog, said: str) -> None:
    assert [leather.code for leather, score in rank_leathers(oddlestone, said) if score == BEST] == ["SH-GAR"]


def test_a_name_said_in_part_is_never_exact(oddlestone: Catalog) -> None:
    assert all(score < BEST for _, score in rank_leathers(oddlestone, "shell"))


def test_retired_leathers_are_found_too(oddlestone: Catalog) -> None:
    assert rank_leathers(oddlestone, "gray pebble calf")[0] == (oddlestone.leathers["CE-GRY"], BEST)


@pytest.mark.parametrize("said", ["", "   ", "---", "zzz", "q"])
def test_nothing_near_gives_nothing(oddlestone: Catalog, said: str) -> None:
    assert rank_leathers(oddlestone, said) == []


def test_equal_scores_stand_in_the_order_of_the_catalog(oddlestone: Catalog) -> None:
    ranked = rank_leathers(oddlestone, "black")
    order = list(oddlestone.leathers)
    assert ranked == sorted(ranked, key=lambda pair: (-pair[1], order.index(pair[0].code)))


@given(said=st.text(max_size=200))
def test_any_words_give_a_ranking_the_same_each_time(oddlestone: Catalog, said: str) -> None:
    ranked = rank_leathers(oddlestone, said)
    assert ranked == rank_leathers(oddlestone, said)
    scores = [score for _, score in ranked]
    assert scores == sorted(scores, reverse=True)
    assert all(LEAST <= score <= BEST for score in scores)
