"""What goes on beside requests: holds lapse, the log is written, lists are judged, what is old is dropped."""

from __future__ import annotations

import logging
import threading
from datetime import timedelta
from typing import Final

from sqlalchemy import delete

from api.house import House
from api.lists.folders import sweep as sweep_folders
from api.lists.keeping import drop_expired
from api.lists.work import Workers
from api.store.engine import BusyError
from api.store.shelf import stamp
from api.store.tables import ANSWERED

#: Seconds between two rounds.
ROUND: Final = 1.0
#: How long an answer is kept for retries.
KEPT: Final = timedelta(days=2)
_ROUNDS_PER_DROP: Final = 3600
_LOG = logging.getLogger("quarterfoot")


class Keeper:
    """A thread that looks after the house; whatever it misses, the next round or the next process does."""

    def __init__(self, house: House, workers: Workers | None = None) -> None:
        """Keep the house; nothing is started yet. Without ``workers`` long lists wait for another process."""
        self._house = house
        self._workers = workers
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="keeper", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End after the round at hand, with nothing left unwritten."""
        self._over.set()
        self._thread.join()
        if self._workers is not None:
            self._workers.stop()
        self._house.log.flush()

    def _run(self) -> None:
        rounds = 0
        while not self._over.wait(ROUND):
            try:
                _ = self._house.shelf  # lets due holds lapse
                self._house.log.flush()
                if self._workers is not None:
                    self._workers.look_after()
                if rounds % _ROUNDS_PER_DROP == 0:
                    self._drop_old()
                rounds += 1
            except BusyError:
                continue
            except Exception:  # noqa: BLE001 -- the next round may do better; the log says what went wrong
                _LOG.exception("a round of the keeper failed")

    def _drop_old(self) -> None:
        before = stamp(self._house.clock.now() - KEPT)
        with self._house.store.write() as write:
            write.connection.execute(delete(ANSWERED).where(ANSWERED.c.at < before))
            drop_expired(write.connection, self._house.now())
        sweep_folders()
