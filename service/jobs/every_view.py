"""All views that follow the log, in one list."""

from service.clock import Clock
from service.forecast.ready_view import ReadyDatesView
from service.reminders.alerts import Alerts
from service.views.budwood import BudwoodOnHand
from service.views.checks import Checks
from service.views.lineage import Lineage
from service.views.runner import View
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
