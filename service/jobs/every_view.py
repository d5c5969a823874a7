"""All views that follow the log, in one list."""

from functools import partial

from service.clock import Clock
from service.reminders.alerts import Alerts
from service.reminders.watch import tell_faults
from service.storage.pool import Database
from service.views.applying import OnFaults, View
from service.views.budwood import BudwoodOnHand
from service.views.check_spells import CheckSpells
from service.views.checks import Checks
from service.views.growth import Growing
from service.views.lineage import Lineage
from service.views.losses import Losses
from service.views.push import PushObservations
from service.views.rebuild import rebuild
from service.views.stock_by_day import StockByDay
from service.views.take import TakeView


def every_view() -> list[View]:
    """The views, each in its place for a runner; checks first, since people wait for it."""
    return [
        Checks(),
        Alerts(),
        BudwoodOnHand(),
        Lineage(),
        StockByDay(),
        TakeView(),
        Losses(),
        PushObservations(),
        Growing(),
        CheckSpells(),
    ]


def telling_faults(clock: Clock) -> OnFaults:
    """Raises the alerts about what views set aside, for a runner."""
    return partial(tell_faults, clock=clock)


async def differences(database: Database) -> dict[str, list[str]]:
    """How each view differs from one built anew; nothing is changed.

    Empty lists when all are right.
    """
    found: dict[str, list[str]] = {}
    for view in every_view():
        lines = found[view.name] = []
        await rebuild(database, view, swap=False, found=lines.append)
    return found
