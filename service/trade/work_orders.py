"""A work order and what was done of it, as the books keep them."""

from datetime import date

import msgspec


class WorkOrder(msgspec.Struct, kw_only=True, gc=False):
    """Grafting to do. `wanted` and `done` are trees from the order's beginning on."""

    code: str
    site: str
    cultivar: str
    rootstock: str
    wanted: int
    needed_by: date
    made_day: date
    liner_lot: str | None = None
    method: str | None = None
    place: str | None = None
    grafters: tuple[str, ...] = ()
    customer: str | None = None
    reservation: str | None = None
    note: str | None = None
    done: int = 0
    ended: str | None = None
    ended_day: date | None = None
    position: int
    changed_position: int

    @property
    def left(self) -> int:
        """How many are still to graft."""
        return max(self.wanted - self.done, 0)


class WorkDone(msgspec.Struct, kw_only=True, gc=False):
    """A grafting for an order. `counts`: it is of the cultivar and rootstock that were ordered."""

    position: int
    work_order: str
    site: str
    lot: str
    day: date
    count: int
    counts: bool
    voided_by: int | None = None
