"""Checks over HTTP against a bare endpoint: CPU a request, latency, plumbing, many findings."""

from __future__ import annotations

import json
import os
import statistics
from collections.abc import Sequence
from contextlib import ExitStack

from measure.load import Round, measured
from measure.report import Figure, spread
from measure.served import SERVICES, running
from measure.workshop import bodies, demo, with_many_findings
from rules import remedies
from rules.check import judge

_PASSES = b'"outcome":"buildable"'
_ANY = b'"outcome":'


def typical(*, quick: bool) -> list[Figure]:
    """Measure typical passing checks, no spec sent twice, in interleaved rounds of all three services."""
    rounds, each, warm_up = (3, 250, 500) if quick else (7, 1_500, 3_000)
    specs = bodies(warm_up + rounds * each)
    cores = _cores()
    found: dict[str, list[Round]] = {name: [] for name in SERVICES}
    with ExitStack() as stack:
        services = {name: stack.enter_context(running(name, cores[0])) for name in SERVICES}
        _stay_on(cores[1])
        for name, (process, port) in services.items():
            measured(process, port, specs[:warm_up], _expected(name))
        for place in range(rounds):
            own = specs[warm_up + place * each : warm_up + (place + 1) * each]
            for name, (process, port) in services.items():
                found[name].append(measured(process, port, own, _expected(name)))
    cpu = [ours.cpu_us / bare.cpu_us for ours, bare in zip(found["ours"], found["bare"], strict=True)]
    p99 = [ours.p99_ms / bare.p99_ms for ours, bare in zip(found["ours"], found["bare"], strict=True)]
    plumbing = [own.per_second / bare.per_second for own, bare in zip(found["plumbing"], found["bare"], strict=True)]
    no_rules = [own.per_second / bare.per_second for own, bare in zip(found["no rules"], found["bare"], strict=True)]
    figures = [
        Figure("different specs sent, none twice", str(len(specs)), ">= 10000", len(specs) >= 10_000),
        Figure("CPU a request, ours to bare", spread(cpu), "<= 2", statistics.median(cpu) <= 2),
        Figure("p99, ours to bare", spread(p99), "<= 3", statistics.median(p99) <= 3),
        Figure("throughput of the plumbing, to bare", spread(plumbing), ">= 0.8", statistics.median(plumbing) >= 0.8),
        Figure("throughput without a rule, to bare", spread(no_rules)),
    ]
    for name, taken in found.items():
        figures += [
            Figure(f"{name}: CPU a request, us", f"{statistics.median(each.cpu_us for each in taken):.0f}"),
            Figure(f"{name}: requests a second", f"{statistics.median(each.per_second for each in taken):.0f}"),
            Figure(
                f"{name}: p50 and p99, ms",
                f"{statistics.median(each.p50_ms for each in taken):.1f} "
                f"{statistics.median(each.p99_ms for each in taken):.1f}",
            ),
        ]
    return figures


def many_findings(*, quick: bool) -> list[Figure]:
    """Measure checks with many findings, remedies included, against typical passing ones."""
    rounds, count = (3, 40) if quick else (5, 200)
    hard = with_many_findings(count, 600 if quick else 6_000)
    easy = bodies(2_000 if quick else 6_000, seed="beside many findings")
    cores = _cores()
    ratios: list[float] = []
    warm_up, each = len(easy) // 2, len(easy) // 2 // rounds
    with running("ours", cores[0]) as (process, port):
        _stay_on(cores[1])
        measured(process, port, easy[:warm_up], _PASSES)
        measured(process, port, hard, _ANY)
        for place in range(rounds):
            one = measured(process, port, easy[warm_up + place * each : warm_up + (place + 1) * each], _PASSES)
            other = measured(process, port, hard, _ANY)
            ratios.append(other.cpu_us / one.cpu_us)
    findings, rechecks = _most(hard)
    return [
        Figure("specs with many findings", f"{len(hard)}, at most {findings} that stand in the way"),
        Figure("CPU of one, to a passing check", spread(ratios), "<= 35", statistics.median(ratios) <= 35),
        Figure("most specs judged again for one", str(rechecks), "<= 30", rechecks <= 30),
    ]


def _most(specs: Sequence[bytes]) -> tuple[int, int]:
    """Return the most findings in the way, and the most re-checks for remedies, of any of the specs."""
    from api.schemas.spec import SpecIn, to_spec
    from measure.workshop import TODAY

    shop, most_findings, most_rechecks = demo(), 0, 0
    for body in specs:
        spec = to_spec(SpecIn.model_validate(json.loads(body)))
        verdict = judge(shop, spec, TODAY)
        counted = 0

        def recheck(changed: object) -> object:
            nonlocal counted
            counted += 1
            return judge(shop, changed, TODAY)  # type: ignore[arg-type]

        remedies.remedies_for(shop, spec, verdict, recheck)  # type: ignore[arg-type]
        in_the_way = sum(finding.severity in ("refuse", "sign_off") for finding in verdict.findings)
        most_findings, most_rechecks = max(most_findings, in_the_way), max(most_rechecks, counted)
    return most_findings, most_rechecks


def _expected(name: str) -> bytes:
    return _PASSES if name == "ours" else _ANY


def _cores() -> tuple[int | None, int | None]:
    """Return a core for the server and another for the load, where there are two and they can be chosen."""
    if not hasattr(os, "sched_getaffinity"):
        return None, None
    own = sorted(os.sched_getaffinity(0))
    return (own[0], own[1]) if len(own) > 1 else (None, None)


def _stay_on(core: int | None) -> None:
    if core is not None:
        os.sched_setaffinity(0, {core})
