"""Every name that a rule may use: what it means, its type and unit, and what it reads.

A name is ``subject.attribute``. A measure is a plain function of one instance of the subject;
it is registered with what it reads, so that an evaluator knows which answers depend on the
lots, the quantity or the day and which do not. ``piece.*`` names may stand in any rule.
``threshold.*`` names come from the catalog.

What is kept of one check for the next (:mod:`rules.cells`) rests on these declarations: a rule is
judged anew only where something that it reads is new.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

from catalog.model import Number, Threshold
from rules.ir import Stage, Value

Type = Literal["number", "truth", "word", "words"]
Measure = Callable[[Any], Value]
#: Where a piece with lots is at hand: what a check is judged over can be listed at these stages.
OF_A_PIECE: frozenset[Stage] = frozenset(("check", "quote", "cut", "pack"))
Measured = TypeVar("Measured", bound=Callable[[Any], Value])

#: What a measure may read. ``lots`` also stands for all that follows from them (thickness,
#: grade, drift) and for what all lots of the leather have free; ``stock`` for what is left of the
#: supplies that the spec names; ``backlog`` for the bench's queue and its room for rush orders.
#: ``foreign`` are parts that the pattern lacks, ``named`` lots that the spec names, ``repeat`` what an
#: earlier order was cut from that the spec repeats. ``letters`` are the text of the monogram, ``monogram``
#: is all else of it: hardly two customers have the same letters, and few rules read them. ``note`` is
#: whether the spec has a free text, not what it says.
READS = frozenset(
    {
        "pattern", "leather", "species", "side", "lots", "thread", "edge", "stitch", "hardware", "sizes",
        "monogram", "letters", "modifications", "carry", "purpose", "quantity", "ship_to", "rush",
        "ready_by", "foreign", "named", "repeat", "stock", "backlog", "price_list", "law", "labor", "today", "revision",
        "marks_ok", "mixed_metals_ok",
        "note",
    }
)  # fmt: skip
#: What is read part by part.
BY_PART = frozenset({"leather", "species", "side", "lots"})
#: What is the same for every spec of a day at one catalog revision; the pattern is known by its frame. ``stock`` is
#: here because a supply's facet says what is left of it.
SAME_FOR_ALL = frozenset({"pattern", "stock", "price_list", "law", "labor", "today"})

#: Figures that may lie below zero, by their unit or by name; all others never do.
SIGNED_UNITS = frozenset({"percent", "money", "date"})
SIGNED = frozenset({"leather.left_after", "piece.stain_lighter_by", "piece.edge_left_after"})
#: What differs between two stock revisions, never between two specs of one.
SAME_IN_A_TABLE = frozenset({"backlog"})


@dataclass(frozen=True, slots=True)
class Term:
    """A name of the vocabulary.

    ``levels`` lists the words a ``word`` may be, if closed; ``noun`` says what of the catalog its words are codes of
    (:mod:`rules.nouns`), so that a code that is not there is found when a rule is read. ``of`` names the parts whose
    leather, side and lots are read, where not those of the instance (of the whole piece: every part).
    ``grows``: the figure is never smaller where a part is cut from more lots.
    """

    name: str
    label: str
    type: Type
    unit: str
    reads: frozenset[str]
    measure: Measure
    levels: tuple[str, ...] = ()
    of: tuple[str, ...] = ()
    grows: bool = False
    noun: str = ""

    @property
    def signed(self) -> bool:
        """Whether its figure may lie below zero."""
        return self.unit in SIGNED_UNITS or self.name in SIGNED


Group = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lister:
    """A list of instances of a subject, with what the list itself depends on.

    ``groups`` gives, for a pattern and its leathers' parts, the sets of parts that instances depend
    on; ``instances`` lists those of one set, or all where there are no groups. ``own``: it makes
    those of a set itself, rather than picking them from all by their parts. ``only_with`` names
    what must not be empty for the list to hold anything.
    """

    reads: frozenset[str]
    instances: Callable[[Any, Group | None], Iterable[Any]]
    groups: Callable[[Any, Iterable[Group]], Iterable[Group]] | None = None
    own: bool = False
    only_with: str = ""


@dataclass(frozen=True, slots=True)
class Subject:
    """What a rule is judged over, and how to list its instances in a case.

    ``shows`` is what the words, pointers and codes of an instance depend on beside the list, ``of``
    of which parts where not those of the instance. ``word_reads``, for subjects of which a case has one
    instance at most, always at the same place of the spec: what each word depends on beside the list.

    ``stages`` are those at which it can be listed. What a check is judged over is listed in a case, at every stage
    of a piece; others (:func:`stage_subject`) in the facts of their stage, and ``has_case`` says whether each
    instance knows a case, so that rules over it may read the whole piece; ``own_facts``: it is of these others.
    """

    name: str
    label: str
    instances: Callable[[Any], Iterable[Any]]
    words: tuple[str, ...]
    listers: tuple[Lister, ...]
    shows: frozenset[str]
    of: Group
    word_reads: Mapping[str, frozenset[str]] | None = None
    stages: frozenset[Stage] = OF_A_PIECE
    has_case: bool = True
    own_facts: bool = False

    def told_by(self, words: AbstractSet[str]) -> frozenset[str]:
        """Return what sentences with some of the words depend on beside the list."""
        if self.word_reads is None:
            return self.shows
        return frozenset().union(*(self.word_reads[word] for word in words & self.word_reads.keys()))


SUBJECTS: dict[str, Subject] = {}
TERMS: dict[str, Term] = {}


def subject(
    name: str,
    label: str,
    words: Iterable[str],
    *,
    reads: Iterable[str] = (),
    groups: Callable[[Any, Iterable[Group]], Iterable[Group]] | None = None,
    listers: tuple[Lister, ...] = (),
    shows: Iterable[str] = (),
    of: Group = (),
    only_with: str = "",
    word_reads: Mapping[str, Iterable[str]] | None = None,
) -> Callable[[Callable[[Any], Iterable[Any]]], Callable[[Any], Iterable[Any]]]:
    """Register the function that lists the instances of a subject in a case.

    ``reads`` says what the list depends on beside the pattern, ``groups`` which sets of parts an
    instance may depend on, or ``listers`` both, list by list; ``shows``, ``of`` and ``word_reads`` as in
    Subject, ``only_with`` as in Lister; what some word reads is shown.
    """

    def register(instances: Callable[[Any], Iterable[Any]]) -> Callable[[Any], Iterable[Any]]:
        def of_group(case: Any, group: Group | None) -> Iterable[Any]:
            return instances(case) if group is None else [each for each in instances(case) if each.parts == group]

        own = listers or (Lister(_known(name, reads), of_group, groups, only_with=only_with),)
        by_word = None if word_reads is None else {word: _known(name, read) for word, read in word_reads.items()}
        shown = _known(name, shows).union(*(by_word or {}).values())
        SUBJECTS[name] = Subject(name, label, instances, tuple(words), own, shown, of, by_word)
        return instances

    return register


def stage_subject(
    name: str, label: str, words: Iterable[str], *, stages: Iterable[Stage], has_case: bool
) -> Callable[[Callable[[Any], Iterable[Any]]], Callable[[Any], Iterable[Any]]]:
    """Register the function that lists the instances of a subject in the facts of a stage other than check.

    ``has_case``: it is given one item of a quote or an order (:class:`rules.job.Item`) after the other, and its
    instances know the item's case; else it is given all facts of the stage at once. Nothing of it is kept from one
    judging to the next, so its measures declare no reads.
    """

    def register(instances: Callable[[Any], Iterable[Any]]) -> Callable[[Any], Iterable[Any]]:
        own = frozenset(stages)
        SUBJECTS[name] = Subject(
            name, label, instances, tuple(words), (), frozenset(), (), None, own, has_case, own_facts=True
        )
        return instances

    return register


def _known(name: str, reads: Iterable[str]) -> frozenset[str]:
    read = frozenset(reads)
    if unknown := read - READS:
        raise ValueError(f"{name}: reads {sorted(unknown)}, which is not in READS")
    return read


def number(
    name: str, unit: str, label: str, *, reads: Iterable[str], of: Group = (), grows: bool = False
) -> Callable[[Measured], Measured]:
    """Register a measure that gives an exact number in the base units of ``unit``."""
    return _register(name, label, "number", unit, reads, of=of, grows=grows)


def truth(name: str, label: str, *, reads: Iterable[str], of: Group = ()) -> Callable[[Measured], Measured]:
    """Register a measure that gives true, false or None."""
    return _register(name, label, "truth", "", reads, of=of)


def word(
    name: str, label: str, *, reads: Iterable[str], levels: Iterable[str] = (), of: Group = (), noun: str = ""
) -> Callable[[Measured], Measured]:
    """Register a measure that gives one word: one of ``levels``, a code of ``noun``, or any."""
    return _register(name, label, "word", "", reads, tuple(levels), of, noun=noun)


def words(name: str, label: str, *, reads: Iterable[str], noun: str = "") -> Callable[[Measured], Measured]:
    """Register a measure that gives a set of words."""
    return _register(name, label, "words", "", reads, noun=noun)


def _register(
    name: str,
    label: str,
    kind: Type,
    unit: str,
    reads: Iterable[str],
    levels: tuple[str, ...] = (),
    of: Group = (),
    *,
    grows: bool = False,
    noun: str = "",
) -> Callable[[Measured], Measured]:
    read = _known(name, reads)
    if name in TERMS:
        raise ValueError(f"{name} is registered twice")

    def register(measure: Measured) -> Measured:
        TERMS[name] = Term(name, label, kind, unit, read, measure, levels, of, grows, noun)
        return measure

    return register


def known_names(subject_name: str, thresholds: Iterable[str]) -> list[str]:
    """Return the names that a rule over ``subject_name`` may use, sorted."""
    of_piece = (subject_name, "piece") if SUBJECTS[subject_name].has_case else (subject_name,)
    own = (name for name in TERMS if name.partition(".")[0] in of_piece)
    return sorted([*own, *(f"threshold.{name}" for name in thresholds)])


def limits_by_name(thresholds: Mapping[str, Threshold]) -> dict[str, Number]:
    """Return the values of the ``threshold.*`` names, in base units."""
    return {f"threshold.{name}": threshold.value for name, threshold in thresholds.items()}
