"""The same specs give the same bytes: in other processes, under other hash seeds, from many threads at once."""

from __future__ import annotations

import hashlib
import json
import os
import random
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pytest

from catalog.model import Catalog
from rules.check import check
from rules.sample import sample_specs
from rules.shop import Shop, open_shop
from rules.spec import Spec

ROOT = Path(__file__).parents[2]
COUNT = 50
_PROGRAM = f"""
import sys
sys.path[:0] = [{str(ROOT)!r}, {str(Path(__file__).parent)!r}]
from datetime import date
from pathlib import Path
from catalog.load import load_catalog
from rules.shop import open_shop
from test_same_bytes import digest_of, specs_of
def texts(folder):
    place = Path({str(ROOT)!r}, folder)
    files = sorted([*place.glob("*.yaml"), *place.glob("*.csv")])
    return {{path.name: path.read_text(encoding="utf-8") for path in files}}
catalog = load_catalog(texts("catalog/oddlestone"))
print(digest_of(open_shop(catalog, texts("rules/book")), specs_of(catalog, date(2026, 3, 2)), date(2026, 3, 2)))
"""


def specs_of(catalog: Catalog, today: date) -> list[Spec]:
    return list(sample_specs(catalog, random.Random("same bytes"), today, COUNT))


def bytes_of(shop: Shop, spec: Spec, today: date) -> bytes:
    return json.dumps(check(shop, spec, today=today, alternatives=1, explain=True)).encode()


def digest_of(shop: Shop, specs: list[Spec], today: date) -> str:
    return hashlib.sha256(b"\n".join(bytes_of(shop, spec, today) for spec in specs)).hexdigest()


@pytest.mark.parametrize("seed", ["0", "4242"])
def test_another_process_with_another_hash_seed_gives_the_same_bytes(seed: str, shop: Shop, today: date) -> None:
    environment = {**os.environ, "PYTHONHASHSEED": seed}
    done = subprocess.run([sys.executable, "-c", _PROGRAM], capture_output=True, text=True, check=True, env=environment)
    assert done.stdout.strip() == digest_of(shop, specs_of(shop.catalog, today), today)


@pytest.mark.parametrize("threads", [1, 8])
def test_any_number_of_threads_gives_the_same_bytes(
    threads: int, shop: Shop, today: date, oddlestone: Catalog, book_files: dict[str, str]
) -> None:
    specs = specs_of(shop.catalog, today)
    alone = [bytes_of(shop, spec, today) for spec in specs]
    crowded = open_shop(oddlestone, book_files)
    with ThreadPoolExecutor(threads) as pool:
        answers = list(pool.map(lambda spec: bytes_of(crowded, spec, today), [*specs, *reversed(specs)]))
    assert answers == [*alone, *reversed(alone)]
