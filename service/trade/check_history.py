"""What has been done to the trees of a lot, place by place, as its checks need it.

Trees carry what was done to them along when they move: an event counts where it was recorded and
for the trees that later went from there to another place. Where trees join others, only what was
done to both counts as done.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

import msgspec

from service.trade.events.envelope import Envelope
from service.trade.events.facts import PlaceChecked, WorkDone
from service.trade.events.grafting import (
    GraftsUnwrapped,
    GraftsWrapped,
    PushCounted,
    TopsForced,
    TopsRemoved,
)
from service.trade.events.trees import TreesGraded
from service.trade.legs import legs_of

ELSEWHERE = ""
"""The place of what was done without saying where, or before grafting to the liners."""
_DONE = (GraftsWrapped, GraftsUnwrapped, TopsForced, TopsRemoved, PushCounted, TreesGraded)
DONE = tuple(str(kind.__struct_config__.tag) for kind in _DONE)
"""The types of events that say of a lot that something was done to it."""
_ANCHOR_OF = {
    GraftsWrapped: "wrapped",
    GraftsUnwrapped: "take_read",
    TopsForced: "forced",
    TopsRemoved: "forced",
}


class PlaceFacts(msgspec.Struct):
    """`first`: the first day of each anchor (wrapped, take_read, forced, pushed). `last`: the last
    day of each event type that can count as a check; works as `work.done/staked` too."""

    first: dict[str, date] = msgspec.field(default_factory=dict)
    last: dict[str, date] = msgspec.field(default_factory=dict)

    def copy(self) -> "PlaceFacts":
        return PlaceFacts(dict(self.first), dict(self.last))

    def note(self, anchor: str | None, names: Iterable[str], day: date) -> None:
        if anchor is not None:
            self.first[anchor] = min(day, self.first.get(anchor, day))
        for name in names:
            self.last[name] = max(day, self.last.get(name, day))

    def joined_by(self, others: "PlaceFacts") -> "PlaceFacts":
        """Trees of both together: what was done to both, at the longer ago of the two days."""
        return PlaceFacts(
            {k: min(v, others.first[k]) for k, v in self.first.items() if k in others.first},
            {k: min(v, others.last[k]) for k, v in self.last.items() if k in others.last},
        )

    def and_also(self, others: "PlaceFacts") -> "PlaceFacts":
        """The same trees, told of in two parts: all that was done."""
        whole = self.copy()
        for anchor, day in others.first.items():
            whole.note(anchor, (), day)
        for name, day in others.last.items():
            whole.note(None, (name,), day)
        return whole


class Walk:
    """A lot's events taken in order of occurrence; `facts`: place (or consignment) → what was done
    there so far."""

    def __init__(self, lot: str) -> None:
        self.lot = lot
        self.facts: dict[str, PlaceFacts] = {}
        self._standing: dict[str, int] = {}
        self._before = PlaceFacts()

    def take(self, event: Envelope, day: date) -> None:
        """The next event, on its calendar day."""
        _note(self.lot, event, day, self.facts, self._before)
        _carry(self.lot, event, self.facts, self._standing, self._before)


def facts_by_place(
    lot: str, history: Sequence[Envelope], days: Mapping[int, date] | None = None
) -> dict[str, PlaceFacts]:
    """Walk a lot's events in order of occurrence; place (or consignment) → what was done there."""
    walk = Walk(lot)
    for index, event in enumerate(history):
        walk.take(event, days[index] if days else date.fromisoformat(event.occurred[:10]))
    return walk.facts


def _note(
    lot: str, event: Envelope, day: date, facts: dict[str, PlaceFacts], before: PlaceFacts
) -> None:
    if isinstance(event, PlaceChecked):
        if event.data.place in facts:
            facts[event.data.place].note(None, ("place.checked",), day)
        return
    if facts and not _of_lot(event, lot):
        return  # work on the liners that were left after this lot was grafted
    names: tuple[str, ...]
    if isinstance(event, WorkDone):
        if event.data.lot not in (None, lot):
            return
        place, anchor = event.data.place, None
        names = ("work.done", f"work.done/{event.data.work}")
    elif isinstance(event, _DONE):
        if event.data.lot != lot and not isinstance(event, TopsForced | TopsRemoved):
            return
        place, (anchor, names) = event.data.place, _meaning(event)
    else:
        return
    if place is not None and place not in facts and _of_lot(event, lot):
        facts[place] = before.copy()
    # Of the whole lot, or of its liners before grafting: it holds wherever the trees stand.
    everywhere = place is None or not _of_lot(event, lot)
    for here in [*facts.values(), before] if everywhere else [facts[place or ELSEWHERE]]:
        here.note(anchor, names, day)


def _of_lot(event: Envelope, lot: str) -> bool:
    named = getattr(getattr(event, "data", None), "lot", None)
    return named is None or named == lot


def _meaning(event: Envelope) -> tuple[str | None, tuple[str, ...]]:
    """The anchor that an event sets and the names under which it counts as done."""
    tag = str(event.__struct_config__.tag)
    if isinstance(event, PushCounted):
        return ("pushed" if event.data.pushed else None), (tag,)
    if isinstance(event, GraftsUnwrapped) and event.data.left_wrapped:
        # Some are still wrapped: the take is not read until they are off.
        return "take_read", ()
    return _ANCHOR_OF.get(type(event)), (tag,)


def _carry(
    lot: str,
    event: Envelope,
    facts: dict[str, PlaceFacts],
    standing: dict[str, int],
    before: PlaceFacts,
) -> None:
    """Follow live trees from place to place, in transit too, and take the facts along."""
    changes: dict[str, int] = {}
    for leg in legs_of(event):
        if leg.lot == lot and leg.key.kind in ("trees", "transit") and leg.key.stage != "failed":
            changes[leg.key.place] = changes.get(leg.key.place, 0) + leg.delta
    left = [place for place, change in changes.items() if change < 0]
    came = [place for place, change in changes.items() if change > 0]
    brought = None
    for place in left:
        one = facts.get(place, before)
        brought = one.copy() if brought is None else brought.joined_by(one)
    for place in came:
        if brought is not None:
            here = facts.get(place)
            if here is not None and standing.get(place, 0) > 0:
                facts[place] = here.joined_by(brought)
            else:
                # What is known of the place already was told of a day's work in any order.
                facts[place] = brought.copy() if here is None else here.and_also(brought)
        else:
            facts.setdefault(place, before.copy())
    for place, change in changes.items():
        standing[place] = standing.get(place, 0) + change
        if change < 0 and standing[place] <= 0:
            facts.pop(place, None)
