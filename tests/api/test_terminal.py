"""A verdict that a person reads."""

from __future__ import annotations

from typing import Any

from api.terminal import WIDTH, plain, rendered


def test_a_verdict_fits_the_width_of_a_terminal(answer: dict[str, Any]) -> None:
    text = rendered(answer)
    assert max(len(line) for line in text.splitlines()) <= WIDTH
    assert text.endswith("\n")
    assert "\x1b" not in text
    assert "None" not in text


def test_a_verdict_tells_the_outcome_first_and_each_finding(answer: dict[str, Any]) -> None:
    text = rendered(answer)
    first = {"buildable": "BUILDABLE", "sign_off": "THE MAKER MUST AGREE FIRST", "refused": "REFUSED"}
    assert text.splitlines()[0] == first[answer["outcome"]]
    together = " ".join(text.split())
    for finding in answer["findings"]:
        assert finding["rule"] in text
        assert " ".join(finding["message"].split()) in together
        if finding["measured"] is not None:
            assert f"measured {finding['measured']}" in together


def test_a_verdict_tells_price_lots_and_promise(answer: dict[str, Any]) -> None:
    text = rendered(answer)
    if answer["price"] is None:
        assert "No price can be given" in text
    else:
        for line in answer["price"]["lines"]:
            assert line["amount"] in text
        assert answer["price"]["total"] in text
    for cut in answer["cut_from"]:
        assert cut["lot"] in text
    assert answer["promise"] is None or answer["promise"]["ready_on"] in text


def test_colors_are_for_terminals_only(answer: dict[str, Any]) -> None:
    assert rendered(answer, color=True).startswith("\x1b[1;3")
    assert rendered(answer, color=True).count("\x1b") == 2


def test_what_a_caller_wrote_cannot_steer_a_terminal() -> None:
    assert plain("a\x1b[2Jb\u202ec\n") == "a?[2Jb?c?"


def test_a_finding_shows_figure_limit_cause_and_what_would_do() -> None:
    refusal = {
        "id": "f1", "rule": "THK-04", "severity": "refuse", "at": ["/parts/outside"], "measured": 2.4, "limit": 1.4,
        "bound": "max", "off_by": 1.0, "unit": "mm", "caused_by": None, "message": "It cannot be thinned.",
        "remedies": [{"outcome": "sign_off", "total": "455.00", "says": "Chestnut shell outside"}],
    }  # fmt: skip
    effect = {
        **refusal, "id": "f2", "rule": "STI-01", "caused_by": "f1", "measured": 0.27, "limit": [0.14, 0.22],
        "bound": "between", "off_by": 0.05, "unit": "ratio", "message": "The thread is too heavy.", "remedies": [],
    }  # fmt: skip
    nearby = {"outcome": "buildable", "total": "460.00", "says": "Garnet shell outside"}
    text = rendered(
        {
            "outcome": "refused", "headline": "It cannot be thinned.", "findings": [refusal, effect],
            "price": None, "alternatives": [nearby], "as_of": "2026-03-02", "resolved": {"thread": "TH-P05-TAN"},
        }
    )  # fmt: skip
    assert (
        text
        == """\
REFUSED
It cannot be thinned.

The thread that matches best is TH-P05-TAN.

What stands in the way
  THK-04  parts outside
    It cannot be thinned.
    measured 2.4 mm   limit at most 1.4 mm   over by 1.0 mm
    Would do: Chestnut shell outside (sign-off, 455.00 in all)
  STI-01  parts outside  (follows from THK-04)
    The thread is too heavy.
    measured 0.27   limit between 0.14 and 0.22   off by 0.05

Price
  No price can be given for this yet.

Near to it
  Garnet shell outside (buildable, 460.00 in all)
"""
    )


def test_long_texts_are_broken_and_never_cut() -> None:
    what = " ".join(["unusually"] * 20)
    price = {
        "currency": "EUR", "firm": False, "why_not_firm": "refused", "quantity": 1, "each": "1.00", "total": "1.00",
        "lines": [{"code": "base", "what": what, "amount": "1.00"}], "tax": None, "deposit": None,
    }  # fmt: skip
    text = rendered({"outcome": "buildable", "headline": what, "findings": [], "price": price, "as_of": "2026-03-02"})
    assert text.count("unusually") == 40
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "Not firm: it is refused as asked." in text
