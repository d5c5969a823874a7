"""Recording that reservations have expired, for those who follow the log.

Nothing hangs on it: what has expired counts no more from that moment on, recorded or not.
"""

from collections.abc import Sequence
from uuid import UUID, uuid5

import msgspec

from service.clock import Clock, system_clock
from service.log.reservations import SQL
from service.log.rights import EVERY_SITE, RESERVATIONS, Principal
from service.log.submission import Element, Submission
from service.log.together import record_together
from service.storage.pool import Database
from service.trade.events.selling import ReservationExpired, ReservationExpiredData

SERVICE = Principal(
    name="graftlog", scopes=frozenset({RESERVATIONS}), sites=frozenset({EVERY_SITE})
)
# In one transaction: while it lasts nobody else records.
MOST = 50
_NAMES = UUID("7b1c1b55-6a0e-5c0f-9a61-5f4f5a3c8d21")


async def record_expired(database: Database, clock: Clock = system_clock) -> int:
    """Record every expiry that has come, at its own moment; answers how many were new.

    Run twice it records nothing twice: an expiry has one event id. One that was changed meanwhile
    is refused by the writer, and left alone.
    """
    recorded = 0
    while True:
        rows = await database.writer.fetch(SQL.expired, clock(), MOST)
        wanted = [_submission(row["code"], row["site"], row["expires_at"]) for row in rows]
        new = await _record(database, wanted, clock)
        recorded += new
        if len(rows) < MOST or not new:
            return recorded


async def _record(database: Database, wanted: Sequence[Submission], clock: Clock) -> int:
    answers = await record_together(database, wanted, clock=clock) if wanted else []
    if any(answer.status >= 400 for answer in answers):
        # Nothing of all was stored: then each by itself.
        answers = [(await record_together(database, [one], clock=clock))[0] for one in wanted]
    return sum(answer.status == 201 for answer in answers)


def _submission(code: str, site: str, expires_at: object) -> Submission:
    event = ReservationExpired(
        id=str(uuid5(_NAMES, f"{code} {expires_at}")),
        site=site,
        occurred=str(expires_at).replace(" ", "T"),
        data=ReservationExpiredData(reservation=code),
    )
    return Submission(principal=SERVICE, elements=[Element(msgspec.json.encode(event), event)])
