"""All views that follow the log, in one list."""

import asyncpg

from service.clock import Clock
from service.forecast.ready_view import ReadyDatesView
from service.reminders.alerts import Alerts
from service.storage.pool import Database
from service.views.budwood import BudwoodOnHand
from service.views.checks import Checks
from service.views.lineage import Lineage
from service.views.runner import Runner, View
from service.views.stock_by_day import StockByDay


def every_view(clock: Clock) -> list[View]:
    """The views, each in its place for a runner; checks first, since people wait for it."""
    return [
        Checks(),
        Alerts(),
        BudwoodOnHand(),
        Lineage(),
        StockByDay(),
        ReadyDatesView(clock),
    ]


# The tables of the views that the log alone decides, for comparing what is kept with what comes
# out anew. (Ready dates hang on the day and the weather too.)
TABLES: dict[str, tuple[str, ...]] = {
    "checks": ("checks_due",),
    "alerts": ("alerts", "alert_words"),
    "budwood": ("budwood_on_hand",),
    "lineage": ("lineage",),
    "stock_by_day": ("stock_by_day",),
}

# A busy runner moves a view at the very moment now and then.
MOST_TRIES = 20


async def differences(database: Database, clock: Clock) -> dict[str, list[str]]:
    """How each view differs from one computed anew; empty lists when all are right."""
    runner = Runner(database, every_view(clock))
    found: dict[str, list[str]] = {}
    tries = 0
    while len(found) < len(TABLES):
        name = next(name for name in TABLES if name not in found)
        try:
            found[name] = await runner.differences(name, TABLES[name])
        except asyncpg.SerializationError:
            tries += 1
            if tries > MOST_TRIES:
                raise
    return found
