"""Every event the log knows, as one tagged union (`type` is the tag).

Read the table in DEVELOPERS.md for all fields at a glance.
"""

from service.trade.events.budwood import (
    BudwoodCut,
    BudwoodDiscarded,
    BudwoodMoved,
    BudwoodReceived,
    BudwoodSold,
    ScionsPrepared,
)
from service.trade.events.catalogue import CatalogueChanged
from service.trade.events.envelope import Envelope
from service.trade.events.facts import (
    AlertAcknowledged,
    AlertRemindOn,
    PlaceChecked,
    ToolsDisinfected,
    TreatmentApplied,
    WorkDone,
)
from service.trade.events.grafting import (
    GraftsUnwrapped,
    GraftsWrapped,
    PushCounted,
    TopsForced,
    TopsRemoved,
    TreesGrafted,
    TreesRegrafted,
)
from service.trade.events.liners import LinersDiscarded, LinersMoved, LinersPotted, LinersReceived
from service.trade.events.orders import (
    GraftingOrderChanged,
    GraftingOrdered,
    GraftingOrderEnded,
)
from service.trade.events.papers import PapersPrinted
from service.trade.events.promises import PromiseOverridden, PromiseOverrideEnded
from service.trade.events.selling import (
    ReservationChanged,
    ReservationConfirmed,
    ReservationExpired,
    ReservationMade,
    ReservationReleased,
    TreesReturned,
    TreesSold,
)
from service.trade.events.stock import (
    EventVoided,
    HoldLifted,
    HoldPlaced,
    LabelLost,
    StockCounted,
    StockOpened,
)
from service.trade.events.trees import (
    ConsignmentReceived,
    ConsignmentSent,
    TreesGraded,
    TreesLost,
    TreesMoved,
    TreesPotted,
    TreesReceived,
)

Event = (
    CatalogueChanged
    | StockOpened
    | BudwoodCut
    | BudwoodReceived
    | BudwoodDiscarded
    | BudwoodMoved
    | BudwoodSold
    | ScionsPrepared
    | LinersReceived
    | LinersDiscarded
    | LinersMoved
    | LinersPotted
    | TreesReceived
    | TreesGrafted
    | TreesRegrafted
    | GraftsWrapped
    | GraftsUnwrapped
    | TopsForced
    | TopsRemoved
    | WorkDone
    | PushCounted
    | PlaceChecked
    | TreesLost
    | TreesMoved
    | TreesPotted
    | TreesGraded
    | ConsignmentSent
    | ConsignmentReceived
    | GraftingOrdered
    | GraftingOrderChanged
    | GraftingOrderEnded
    | ReservationMade
    | ReservationChanged
    | ReservationConfirmed
    | ReservationExpired
    | ReservationReleased
    | PromiseOverridden
    | PromiseOverrideEnded
    | TreesSold
    | TreesReturned
    | PapersPrinted
    | StockCounted
    | LabelLost
    | HoldPlaced
    | HoldLifted
    | ToolsDisinfected
    | TreatmentApplied
    | AlertAcknowledged
    | AlertRemindOn
    | EventVoided
)
EVENT_TYPES: dict[str, type[Envelope]] = {
    str(member.__struct_config__.tag): member for member in Event.__args__
}

__all__ = ["EVENT_TYPES", "Envelope", "Event"] + [member.__name__ for member in Event.__args__]
