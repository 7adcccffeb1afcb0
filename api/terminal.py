"""A verdict for a person at a terminal: plain text within 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

WIDTH: Final = 80
_VERDICT: Final = {
    "buildable": ("BUILDABLE", "32"),
    "sign_off": ("THE MAKER MUST AGREE FIRST", "33"),
    "refused": ("REFUSED", "31"),
}
_GROUPS: Final = (
    ("refuse", "What stands in the way"),
    ("sign_off", "What the maker must agree to"),
    ("advise", "Advice"),
    ("notice", "Good to know"),
)
_BOUND: Final = {
    "max": "at most ",
    "min": "at least ",
    "equal": "exactly ",
    "between": "between ",
    "none": "",
}
_OFF_BY: Final = {"max": "over by", "min": "short by"}
_UNIT: Final = {
    "percent": "%",
    "count": "",
    "ratio": "",
    "date": "",
    "money": "",
    "min": "minutes",
    "de00": "delta E",
}
_NOT_FIRM: Final = {"refused": "it is refused as asked", "sign_off": "the maker must agree first"}


def rendered(answer: Mapping[str, Any], *, color: bool = False) -> str:
    """Return a check's answer as text, ending in a newline.

    Args:
        answer: the answer as contract and document have it.
        color: whether the verdict may carry terminal color codes.
    """
    blocks = [
        [_verdict(answer["outcome"], color=color), *_wrapped(answer["headline"])],
        _filled(answer),
        *(_findings(answer, severity, title) for severity, title in _GROUPS),
        _price(answer.get("price")),
        _lots(answer.get("cut_from") or []),
        _promise(answer),
        _alternatives(answer),
    ]
    text = "\n\n".join("\n".join(block) for block in blocks if block)
    return f"{text}\n"


def plain(value: Any) -> str:
    """Return a value as one line of printable text: what a caller wrote cannot steer a terminal."""
    return "".join(sign if sign.isprintable() else "?" for sign in str(value))


def _verdict(outcome: str, *, color: bool) -> str:
    words, code = _VERDICT[outcome]
    return f"\x1b[1;{code}m{words}\x1b[0m" if color else words


def _wrapped(text: Any, indent: int = 0) -> list[str]:
    space = " " * indent
    return textwrap.wrap(plain(text), WIDTH, initial_indent=space, subsequent_indent=space)


def _filled(answer: Mapping[str, Any]) -> list[str]:
    filled = answer.get("filled") or []
    resolved = {slot: code for slot, code in (answer.get("resolved") or {}).items() if code}
    lines = []
    if filled:
        lines += _wrapped(f"Filled in from the pattern's defaults: {', '.join(map(_place, filled))}.")
    for slot, code in resolved.items():
        lines += _wrapped(f"The {slot} that matches best is {code}.")
    return lines


def _place(pointer: str) -> str:
    return pointer.strip("/").replace("/", " ")


def _findings(answer: Mapping[str, Any], severity: str, title: str) -> list[str]:
    findings = [each for each in answer["findings"] if each["severity"] == severity]
    if not findings:
        return []
    rules = {each["id"]: each["rule"] for each in answer["findings"]}
    return [title, *(line for finding in findings for line in _finding(finding, rules))]


def _finding(finding: Mapping[str, Any], rules: Mapping[str, str]) -> Iterator[str]:
    where = ", ".join(_place(each) for each in finding["at"])
    cause = rules.get(finding.get("caused_by") or "")
    follows = f"  (follows from {cause})" if cause else ""
    yield from _wrapped(f"{finding['rule']}  {where}{follows}", 2)
    yield from _wrapped(finding["message"], 4)
    yield from _measured(finding)
    for remedy in finding.get("remedies") or []:
        yield from _wrapped(f"Would do: {_offer(remedy)}", 4)


def _measured(finding: Mapping[str, Any]) -> Iterator[str]:
    measured, limit, bound = finding.get("measured"), finding.get("limit"), finding.get("bound") or "none"
    if measured is None:
        return
    unit = _unit(finding.get("unit"))
    parts = [f"measured {plain(measured)}{unit}"]
    if limit is not None:
        allowed = " and ".join(map(plain, limit)) if isinstance(limit, list) else plain(limit)
        parts.append(f"limit {_BOUND.get(bound, '')}{allowed}{unit}")
    if finding.get("off_by") is not None:
        parts.append(f"{_OFF_BY.get(bound, 'off by')} {plain(finding['off_by'])}{unit}")
    yield from _wrapped("   ".join(parts), 4)


def _unit(unit: str | None) -> str:
    words = _UNIT.get(unit or "", unit or "")
    return f" {words}" if words else ""


def _offer(offer: Mapping[str, Any]) -> str:
    outcome = offer["outcome"].replace("_", "-")
    total = f", {offer['total']} in all" if offer.get("total") else ""
    return f"{offer['says']} ({outcome}{total})"


def _amounts(rows: Sequence[tuple[str, str]]) -> Iterator[str]:
    wide = max(len(amount) for _, amount in rows)
    for what, amount in rows:
        room = WIDTH - wide - 4
        *before, last = textwrap.wrap(plain(what), room) or [""]
        yield from (f"  {line}" for line in before)
        yield f"  {last:<{room}}  {amount:>{wide}}"


def _price(price: Mapping[str, Any] | None) -> list[str]:
    if price is None or price.get("total") is None:
        return ["Price", *_wrapped("No price can be given for this yet.", 2)]
    rows = [(line["what"], line["amount"]) for line in price["lines"]]
    rows.append(("each", price["each"]))
    if price["quantity"] > 1:
        rows.append((f"{price['quantity']} pieces", price["total"]))
    if tax := price.get("tax"):
        rows.append((f"of this tax, {float(tax['rate']) * 100:g} %", tax["included"]))
    if price.get("deposit"):
        rows.append(("deposit with the order", price["deposit"]))
    lines = [f"Price per piece, {plain(price['currency'])}", *_amounts(rows)]
    if not price["firm"]:
        why = price.get("why_not_firm") or ""
        lines += _wrapped(f"Not firm: {_NOT_FIRM.get(why, why)}.", 2)
    return lines


def _lots(cuts: Sequence[Mapping[str, Any]]) -> list[str]:
    if not cuts:
        return []
    names = ("part", "lot", "pieces", "area_dm2", "thickness_mm", "left_after_dm2")
    rows = [["-" if cut[name] is None else plain(cut[name]) for name in names] for cut in cuts]
    return ["Cut from", *_table([["part", "lot", "pieces", "takes dm2", "thick mm", "leaves dm2"], *rows])]


def _table(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = [
            f"{cell:<{width}}" if place < 2 else f"{cell:>{width}}"
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield f"  {'  '.join(cells)}".rstrip()


def _promise(answer: Mapping[str, Any]) -> list[str]:
    promise = answer.get("promise") or {}
    if not promise.get("ready_on"):
        return []
    weeks = promise.get("weeks")
    words = f"Ready on {promise['ready_on']}"
    if weeks is not None:
        words += f", {weeks} week{'' if weeks == 1 else 's'} at the bench's pace"
    return ["Promise", *_wrapped(f"{words}. As of {answer['as_of']}.", 2)]


def _alternatives(answer: Mapping[str, Any]) -> list[str]:
    found = answer.get("alternatives") or []
    if not found:
        return []
    return ["Near to it", *(line for each in found for line in _wrapped(_offer(each), 2))]
