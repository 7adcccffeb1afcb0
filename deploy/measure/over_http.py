"""Checks over HTTP against a bare endpoint: CPU a request, latency, plumbing, many findings."""

from __future__ import annotations

import os
import statistics
from collections.abc import Callable, Sequence
from contextlib import ExitStack

from api.schemas.spec import SpecIn, to_spec
from measure.load import CONNECTIONS, Round, generator
from measure.report import Figure, spread
from measure.served import SERVICES, running
from measure.workshop import TODAY, bodies, demo, with_many_findings
from rules.check import Verdict, judge
from rules.remedies import MOST_RECHECKS, remedies_for
from rules.spec import Spec

_PASSES = (b'{"outcome":"buildable",',)
_HAMPERED = (b'{"outcome":"refused",', b'{"outcome":"sign_off",')


def typical(*, quick: bool) -> list[Figure]:
    """Measure typical passing checks, none seen before by the service, in interleaved rounds of all services."""
    rounds, each, warm_up = (3, 120, 200) if quick else (7, 1_300, 1_400)
    specs = bodies(warm_up + rounds * each)
    cores = _cores()
    found: dict[str, list[Round]] = {name: [] for name in SERVICES}
    with ExitStack() as stack:
        send = stack.enter_context(generator(cores[1]))
        services = {name: stack.enter_context(running(name, cores[0])) for name in SERVICES}
        for process, port in services.values():
            send(process, port, specs[:warm_up], _PASSES)
        for place in range(rounds):
            own = specs[warm_up + place * each : warm_up + (place + 1) * each]
            for name, (process, port) in services.items():
                found[name].append(send(process, port, own, _PASSES))
    sent = Figure("different specs, none sent to a service twice", str(len(specs)), ">= 10000", len(specs) >= 10_000)
    return [sent, _placed(cores), *_ratios(found), *_figures(found)]


def _ratios(found: dict[str, list[Round]]) -> list[Figure]:
    """Return how our service does against the bare endpoint: each round's own ratio, then the median."""

    def to_bare(name: str, figure: Callable[[Round], float]) -> list[float]:
        return [figure(own) / figure(bare) for own, bare in zip(found[name], found["bare"], strict=True)]

    cpu = to_bare("ours", lambda taken: taken.cpu_us)
    p99 = to_bare("ours", lambda taken: taken.p99_ms)
    plumbing = to_bare("plumbing", lambda taken: taken.per_second)
    return [
        Figure("CPU a request, ours to bare", spread(cpu), "<= 2", statistics.median(cpu) <= 2),
        Figure("p99, ours to bare", spread(p99), "<= 3", statistics.median(p99) <= 3),
        Figure("p50, ours to bare", spread(to_bare("ours", lambda taken: taken.p50_ms))),
        Figure("throughput, ours to bare", spread(to_bare("ours", lambda taken: taken.per_second))),
        Figure("throughput of the plumbing, to bare", spread(plumbing), ">= 0.8", statistics.median(plumbing) >= 0.8),
        Figure("throughput without a rule, to bare", spread(to_bare("no rules", lambda taken: taken.per_second))),
    ]


def _figures(found: dict[str, list[Round]]) -> list[Figure]:
    figures = []
    for name, taken in found.items():
        figures += [
            Figure(f"{name}: CPU a request, us", f"{statistics.median(each.cpu_us for each in taken):.0f}"),
            Figure(f"{name}: requests a second", f"{statistics.median(each.per_second for each in taken):.0f}"),
            Figure(
                f"{name}: p50 and p99, ms",
                f"{statistics.median(each.p50_ms for each in taken):.1f} "
                f"{statistics.median(each.p99_ms for each in taken):.1f}",
            ),
            Figure(f"{name}: answer, bytes", f"{statistics.median(each.answer_bytes for each in taken):.0f}"),
            Figure(f"{name}: load generator busy", f"{statistics.median(each.busy for each in taken):.0%}"),
        ]
    return figures


def many_findings(*, quick: bool) -> list[Figure]:
    """Measure checks with many findings, remedies included, against typical passing ones; none sent twice."""
    rounds, hard_each, easy_each = (3, 8, 100) if quick else (5, 20, 400)
    warm_up = 8 if quick else 120
    hard = with_many_findings(2 * rounds * hard_each + warm_up, 400 if quick else 6_000)
    easy = bodies((rounds + 3) * easy_each)
    most, warm = hard[:-warm_up], hard[-warm_up:]
    cores = _cores()
    ratios: dict[int, list[float]] = {1: [], CONNECTIONS: []}
    with generator(cores[1]) as send, running("ours", cores[0]) as (process, port):
        send(process, port, easy[rounds * easy_each :], _PASSES)
        send(process, port, warm, _HAMPERED)
        for place in range(rounds):
            one = send(process, port, easy[place * easy_each : (place + 1) * easy_each], _PASSES)
            for half, (at_once, own) in enumerate(ratios.items()):
                # Interleaved: each round takes of those with the most findings and of those with fewer.
                specs = most[2 * place + half :: 2 * rounds]
                own.append(send(process, port, specs, _HAMPERED, at_once=at_once).cpu_us / one.cpu_us)
    findings, rechecks = _most(most)
    return [
        Figure("specs with many findings", f"{len(most)}, at most {findings} that stand in the way"),
        *(
            Figure(
                f"CPU of one, to a passing check ({at_once} at once)",
                spread(own),
                "<= 35",
                statistics.median(own) <= 35,
            )
            for at_once, own in ratios.items()
        ),
        Figure("most specs judged again for one", str(rechecks), f"<= {MOST_RECHECKS}", rechecks <= MOST_RECHECKS),
    ]


def _most(specs: Sequence[bytes]) -> tuple[int, int]:
    """Return the most findings in the way, and the most re-checks for remedies, of any of the specs."""
    shop, most_findings, most_rechecks = demo(), 0, 0
    for body in specs:
        spec = to_spec(SpecIn.model_validate_json(body))
        verdict = judge(shop, spec, TODAY)
        again: list[Verdict] = []

        def recheck(changed: Spec, again: list[Verdict] = again) -> Verdict:
            again.append(judge(shop, changed, TODAY))
            return again[-1]

        remedies_for(shop, spec, verdict, recheck)
        in_the_way = sum(finding.severity in ("refuse", "sign_off") for finding in verdict.findings)
        most_findings, most_rechecks = max(most_findings, in_the_way), max(most_rechecks, len(again))
    return most_findings, most_rechecks


def _cores() -> tuple[int | None, int | None]:
    """Return a core for the server and another for the load, where there are two and they can be chosen."""
    if not hasattr(os, "sched_getaffinity"):
        return None, None
    own = sorted(os.sched_getaffinity(0))
    return (own[0], own[1]) if len(own) > 1 else (None, None)


def _placed(cores: tuple[int | None, int | None]) -> Figure:
    return Figure("service and load on a core each", "no: none can be chosen here" if cores[0] is None else "yes")
