"""The service's benchmark: one run, its baselines inside it, figures printed as ratios.

    python3 deploy/dev.py bench [--quick] [--only SECTION]

Sections: http, many, process, rules, choices, holds, beside, bulk, sheets, house, lists, best, engine, growth. Figures
are reported, never asserted: the exit code is 0 whenever measurements ran, 2 for arguments that mean nothing here, 1
where something did not answer as it must, 130 when interrupted. A full run takes about half an hour, most of it for
lists and best; a quick one some minutes, and has too few specs for its figures to be quoted.
"""

from __future__ import annotations

import argparse
import signal
import sys
from collections.abc import Callable, Sequence

from measure import (
    beside,
    choices,
    choosing,
    engine,
    growth,
    holds,
    house,
    in_bulk,
    in_process,
    lists,
    over_http,
    sheets,
)
from measure.load import RoundError
from measure.report import Figure, describe, table

Section = Callable[..., list[Figure]]
SECTIONS: dict[str, tuple[str, Section]] = {
    "http": ("Typical passing checks over HTTP, 16 connections", over_http.typical),
    "many": ("Checks with many findings and remedies", over_http.many_findings),
    "process": ("Checks in process", in_process.kinds),
    "rules": ("Checks by number of rules", in_process.by_number_of_rules),
    "choices": ("What can still be chosen, through the service in this process", choices.choices),
    "holds": ("Holds, against a transaction written by hand", holds.holds),
    "beside": ("Single checks while a long list is judged", beside.beside),
    "bulk": ("Whole tables", in_bulk.bulk),
    "sheets": ("Sheets, the hostile ones with their peak memory (process + its child)", sheets.sheets),
    "house": ("Hostile files of a house's own rules", house.house),
    "lists": ("Wish lists, each row judged alone, to reading and writing the same cells", lists.lists),
    "best": ("The best of lists over scarce leathers", choosing.best),
    "engine": ("Decision diagrams and clauses on the reference models, to CP-SAT and MaxSAT", engine.engine),
    "growth": ("Guidance by leathers, parts and rules of a house", growth.growth),
}


def main(arguments: Sequence[str]) -> int:
    """Measure and print; return the exit code."""
    parser = argparse.ArgumentParser(prog="dev.py bench", description="Measure the service.")
    parser.add_argument("--quick", action="store_true", help="few rounds, small tables")
    parser.add_argument("--only", choices=SECTIONS, action="append", help="a section; may be given several times")
    chosen = parser.parse_args(arguments)
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # told to end, it ends its services first
    print(describe(), flush=True)
    for name in chosen.only or SECTIONS:
        title, section = SECTIONS[name]
        try:
            print("\n" + table(title, section(quick=chosen.quick)), flush=True)
        except RoundError as bad:
            print(f"\n{title}: stopped. {bad}", file=sys.stderr)
            return 1
        except KeyboardInterrupt:
            return 130
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
