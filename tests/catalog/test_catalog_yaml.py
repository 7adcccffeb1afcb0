"""The strict reader: what each scalar means, what is refused, and where."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from catalog import strict_yaml
from catalog.strict_yaml import Fault, Faults, read, suggest


@pytest.fixture(params=["c", "python"], autouse=True)
def loader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Hold both parsers of PyYAML to the same words."""
    if request.param == "python":
        monkeypatch.setattr(strict_yaml, "_LOADER", yaml.SafeLoader)


def fault_of(text: str) -> str:
    """Return the only fault of a text."""
    with pytest.raises(Faults) as caught:
        read(text, "f.yaml")
    (fault,) = caught.value.faults
    return str(fault)


@pytest.mark.parametrize(
    ("word", "value"),
    [
        ("true", True),
        ("False", False),
        ("null", None),
        ("~", None),
        ("", None),
        ("12", 12),
        ("-3", -3),
        ("+4", 4),
        ("0", 0),
        ("1.50", Decimal("1.50")),
        (".5", Decimal("0.5")),
        ("0.10", Decimal("0.10")),
        ("2026-02-16", date(2026, 2, 16)),
        ('"no"', "no"),
        ("'12'", "12"),
        ('"2026-02-16"', "2026-02-16"),
        ("NO", "NO"),
        ("ON", "ON"),
        ("y", "y"),
        ("12:30:45", "12:30:45"),
        ("1_000", "1_000"),
        ("2/1", "2/1"),
        ("ED-BURN", "ED-BURN"),
        ("[1, a]", [1, "a"]),
        ("{}", {}),
    ],
)
def test_a_scalar_means_what_yaml_1_2_says(word: str, value: object) -> None:
    found = read(f"a: {word}\n", "f.yaml").value["a"]
    assert found == value
    assert type(found) is type(value)


@pytest.mark.parametrize("word", ["no", "yes", "on", "off", "No", "Yes", "On", "Off"])
def test_yes_and_no_are_refused_and_never_become_a_boolean_or_a_text(word: str) -> None:
    assert fault_of(f"split: {word}").startswith(f"f.yaml:1:8: write true or false instead of {word}")


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("010", "010 could be read as another number"),
        ("0o17", "0o17 could be read as another number"),
        ("0x1F", "0x1F could be read as another number"),
        ("1e3", "write the number 1e3 out in full"),
        ("1.5E-2", "write the number 1.5E-2 out in full"),
        (".nan", ".nan is not a figure"),
        ("-.inf", "-.inf is not a figure"),
        ("9" * 400, "a number of more than 24 digits"),
        ("0." + "1" * 400, "a number of more than 24 digits"),
        ("2026-02-30", "there is no day 2026-02-30"),
        ("!!str 3", "tags (!) are not used here"),
        ("!!python/object/apply:os.system [ls]", "tags (!) are not used here"),
        ("&x 3", "anchors and aliases (& and *) are not used here"),
        ('"a\\0b"', "the character U+0000 is not allowed here"),
    ],
)
def test_a_form_that_could_be_misread_is_refused_where_it_stands(word: str, says: str) -> None:
    assert fault_of(f"a: 1\nb: {word}\n").startswith(f"f.yaml:2:4: {says}")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a: 1\nb: 2\na: 3\n", "f.yaml:3:1: 'a' is written twice; first at line 1"),
        ("a: {b: 1, b: 2}", "f.yaml:1:11: 'b' is written twice; first at line 1"),
        ("a: *x", "f.yaml:1:4: "),
        ("é: 1\nbé: \x07b", "f.yaml:2:5: the character U+0007 is not allowed here"),
        ("a: \ud800", "f.yaml:1:4: the character U+D800 is not allowed here"),
        ("--- 1\n--- 2", "f.yaml:2:1: a second document starts here"),
        ("? [a]\n: 1", "f.yaml:1:3: a key is one word or a quoted text"),
        ("a: [1\n", "f.yaml:2:1: "),
        ("a: b: c", "f.yaml:1:5: "),
        ("\ta: 1", "f.yaml:1:1: "),
        ("[" * 100_000, "f.yaml:1:1"),
        ("{a: " * 3_000, "f.yaml:1:49: nested deeper than 12 levels"),
        ("- a\n" * 60_001, "f.yaml:60000:3: more than 60000 values"),
        ("x" * 1_000_001, "f.yaml:1:1: the file is larger than 1 MB"),
    ],
)
def test_a_text_that_is_broken_or_hostile_is_refused_where_it_stands(text: str, says: str) -> None:
    assert fault_of(text).startswith(says)


def test_depth_12_is_read_and_depth_13_is_not() -> None:
    assert read("[" * 11 + "1" + "]" * 11, "f.yaml").value
    assert "nested deeper" in fault_of("[" * 12 + "1" + "]" * 12)


def test_all_faults_of_a_file_are_found_at_once_and_told_one_a_line() -> None:
    with pytest.raises(Faults) as caught:
        read("a: no\nb: [.nan, 010]\nc: 1\na: yes\n", "f.yaml")
    lines = str(caught.value).splitlines()
    assert [line.split(": ")[0] for line in lines] == [
        "f.yaml:1:4",
        "f.yaml:2:5",
        "f.yaml:2:11",
        "f.yaml:4:1",
        "f.yaml:4:4",
    ]


def test_keys_written_twice_inside_one_another_are_no_way_round_the_depth() -> None:
    text = "{a: 1, a: {b: {c: {d: {e: {f: {g: {h: " * 400
    with pytest.raises(Faults, match=r"nest(ed|ing)"):
        read(text, "f.yaml")


def test_a_text_that_breaks_off_after_99_faults_is_refused_all_the_same() -> None:
    with pytest.raises(Faults) as caught:
        read("- no\n" * 99 + "- [", "f.yaml")
    assert len(caught.value.faults) == 100


def test_faults_stop_at_a_hundred() -> None:
    with pytest.raises(Faults) as caught:
        read("- no\n" * 1000, "f.yaml")
    assert len(caught.value.faults) == 100


def test_positions_count_from_1_and_a_missing_field_is_placed_at_its_nearest_parent() -> None:
    document = read("k:\n  x: {min: 1, max: [2, {z: 3}]}\n", "f.yaml")
    assert document.position(()) == (1, 1)
    assert document.position(("k",)) == (2, 3)
    assert document.key_position(("k",)) == (1, 1)
    assert document.position(("k", "x")) == (2, 6)
    assert document.position(["k", "x", "max", 1, "z"]) == (2, 28)
    assert document.key_position(("k", "x", "max", 1, "z")) == (2, 25)
    assert document.position(("k", "x", "max", 1, "missing")) == (2, 24)
    assert document.position(("nothing", "here")) == (1, 1)
    assert document.fault(("k", "x"), "m", at_key=True) == Fault("f.yaml", 2, 3, "m")


def test_the_place_of_a_value_written_twice_stays_that_of_the_first() -> None:
    document = strict_yaml.attempt("a: {b: 1}\na: {b: 2}\n", "f.yaml")
    assert document.value == {"a": {"b": 1}}
    assert document.position(("a", "b")) == (1, 8)


@pytest.mark.parametrize(
    ("word", "near"),
    [("vegtable", "vegetable"), ("VEGETABLE", "vegetable"), ("egde", "edge"), ("zzz", None), ("", None)],
)
def test_a_near_word_is_suggested(word: str, near: str | None) -> None:
    assert suggest(word, ["vegetable", "edge", "chrome"]) == near


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        read(text, "f.yaml")
    except Faults as refusal:
        told = refusal.faults
    else:
        return
    assert told
    assert all(fault.line >= 1 and fault.column >= 1 and fault.message for fault in told)


_plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**9), 10**9)
    | st.dates()
    | st.text("abno ye-0123456789.:#", max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abc", min_size=1), inner, max_size=3),
    max_leaves=8,
)


@given(_plain)
def test_what_is_written_with_every_text_quoted_is_read_back(value: object) -> None:
    text = yaml.dump(value, Dumper=_QuotingDumper, default_flow_style=True, width=10_000)
    assert read(text, "f.yaml").value == value


class _QuotingDumper(yaml.SafeDumper):
    """Writes texts in quotes and never an alias."""

    def ignore_aliases(self, _data: object) -> bool:
        return True


_QuotingDumper.add_representer(
    str, lambda dumper, data: dumper.represent_scalar("tag:yaml.org,2002:str", data, style='"')
)
