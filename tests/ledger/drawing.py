"""What happens at an invented nursery, drawn by Hypothesis."""

from typing import Any

from hypothesis import strategies as st

from tests.ledger.choosing import late_moments, moments
from tests.ledger.drawing_stock import DrawsStock
from tests.ledger.drawing_trees import DrawsTrees
from tests.ledger.model.ledger import NEVER_VOIDED

# How often each type is drawn.
WEIGHTS = {
    "budwood.cut": 2,
    "budwood.received": 1,
    "budwood.discarded": 1,
    "budwood.moved": 1,
    "budwood.sold": 2,
    "scions.prepared": 2,
    "liners.received": 1,
    "liners.discarded": 1,
    "liners.moved": 1,
    "liners.potted": 1,
    "trees.received": 1,
    "trees.grafted": 5,
    "trees.regrafted": 3,
    "grafts.wrapped": 1,
    "grafts.unwrapped": 2,
    "tops.forced": 1,
    "tops.removed": 1,
    "work.done": 1,
    "push.counted": 4,
    "place.checked": 1,
    "trees.lost": 2,
    "trees.moved": 2,
    "trees.potted": 2,
    "trees.graded": 4,
    "consignment.sent": 4,
    "consignment.received": 4,
    "reservation.made": 5,
    "reservation.changed": 2,
    "reservation.confirmed": 2,
    "reservation.expired": 1,
    "reservation.released": 1,
    "promise.overridden": 3,
    "promise.override_ended": 1,
    "trees.sold": 4,
    "trees.returned": 2,
    "papers.printed": 2,
    "stock.opened": 1,
    "stock.counted": 3,
    "label.lost": 2,
    "hold.placed": 2,
    "hold.lifted": 2,
    "tools.disinfected": 1,
    "treatment.applied": 1,
    "alert.acknowledged": 1,
    "alert.remind_on": 1,
    "catalogue.changed": 1,
    "grafting.ordered": 2,
    "grafting.order_changed": 1,
    "grafting.order_ended": 1,
    "event.voided": 4,
}
kinds = st.sampled_from([kind for kind, weight in WEIGHTS.items() for _ in range(weight)])


class Nursery(DrawsStock, DrawsTrees):
    """Draws events of one example, knowing what the model knows."""

    def draw(self, data: st.DataObject, replaces: str | None = None) -> dict[str, Any]:
        """Any event; one that can stand in for another with `replaces`."""
        kind = data.draw(kinds.filter(lambda k: k != "event.voided") if replaces else kinds)
        late = kind in ("trees.sold", "trees.returned", "consignment.received", "hold.lifted")
        occurred = data.draw(late_moments | moments if late else moments)
        if kind == "event.voided":
            return self.voiding(data, occurred)
        at = data.draw(st.sampled_from("CCCCV"))
        if kind == "consignment.received":
            at, made = self.draw_consignment_received(data, at)
        else:
            made = getattr(self, "draw_" + kind.replace(".", "_"))(data, at)
        more: dict[str, Any] = {"replaces": replaces} if replaces else {}
        if data.draw(st.integers(0, 4)) == 4:
            more["happened"] = True
        return self.event(kind, occurred, made, at=at, **more)

    def voiding(self, data: st.DataObject, occurred: str) -> dict[str, Any]:
        """Mostly of what nothing stands on yet: the youngest, and not what was voided before."""
        young = [
            i
            for i, told in self.model.told.items()
            if not told.voided and told.event["type"] not in NEVER_VOIDED
        ][-5:]
        target = data.draw(st.sampled_from([*young, *young, *young, *list(self.model.told)[-8:]]))
        site = self.model.told[target].event["site"].removeprefix(self.prefix)
        if data.draw(st.integers(0, 9)) == 9:
            site = "V" if site == "C" else "C"
        return self.event("event.voided", occurred, {"event": target, "reason": "not so"}, at=site)
