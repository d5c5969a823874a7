"""Where trees or buds come from, as an invoice or a plant passport asks: by what made their lot.

What nobody told is listed as unknown, never guessed: trees that were bought in, that stood there
when the books were opened, or whose label was lost.
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.trade.books import Bag, Lot
from service.trade.events import budwood, grafting, liners, stock, trees
from service.trade.events.catalogue import Cultivar, Rootstock, SourceTree
from service.trade.events.envelope import Envelope


class Wood(msgspec.Struct, frozen=True, kw_only=True):
    """The wood that scions were cut from."""

    lot: str
    bags: Annotated[
        list[str], Meta(description="That the buds came out of; of prepared pieces both bags.")
    ]
    cut_on: Annotated[date | None, Meta(description="The first day of cutting.")]
    source_tree: str | None
    registration: Annotated[str | None, Meta(description="Of the source tree.")]
    tree_class: Annotated[str | None, Meta(description="Of the source tree in its scheme.")]
    cut_from: Annotated[
        str | None, Meta(description="The nursery's own tree lot that it was cut from.")
    ]
    supplier: Annotated[
        str | None, Meta(description="Told where the key sees the site that received it.")
    ]
    source_note: Annotated[str | None, Meta(description="What the supplier's label says.")]
    witness: str | None


class Stocks(msgspec.Struct, frozen=True, kw_only=True):
    """The liners that were grafted on."""

    lot: str
    received_on: date | None
    supplier: str | None
    seed_source: str | None


class Interstock(msgspec.Struct, frozen=True, kw_only=True):
    """A piece of another cultivar between rootstock and scion."""

    lot: str
    cultivar: str | None
    method: str | None
    grafted_on: date | None
    wood: Wood | None


class BoughtIn(msgspec.Struct, frozen=True, kw_only=True):
    """Trees that came grafted."""

    supplier: str | None
    received_on: date


class Provenance(msgspec.Struct, frozen=True, kw_only=True):
    """Where trees or buds of a lot come from.

    For a plant passport: `botanical_name` is its part A, `lot` the traceability code of part C.
    Registration number and country of origin are the nursery's to add.
    """

    lot: str
    cultivar: str | None
    botanical_name: str | None
    epithet: str | None
    clone: str | None
    licence_holder: str | None
    rootstock: str | None
    rootstock_name: str | None
    method: str | None
    grafted_on: Annotated[date | None, Meta(description="The first day, if there were several.")]
    grafted_until: Annotated[date | None, Meta(description="The last day of grafting.")]
    attempt: Annotated[int, Meta(description="2: the stocks were grafted again, and so on.")]
    regraft_of: Annotated[
        str | None, Meta(description="The lot whose scions had failed on these stocks.")
    ]
    wood: Annotated[Wood | None, Meta(description="Of the scion that grows, or of the buds sold.")]
    interstocks: Annotated[list[Interstock], Meta(description="The topmost first.")]
    stocks: Stocks | None
    bought_in: BoughtIn | None
    identified: Annotated[bool, Meta(description="False: a label was lost.")]
    may_be_of: Annotated[list[str], Meta(description="Lots that unidentified trees may be of.")]
    documents: Annotated[
        list[str],
        Meta(description="Passports, certificates and permits that came with wood, liners, trees."),
    ]
    unknown: Annotated[
        list[str], Meta(description="What a passport or invoice may ask and nobody told.")
    ]


class Made(msgspec.Struct, frozen=True, kw_only=True):
    """A standing event that made a lot or added to it.

    `told`: the asker sees a site of it; else suppliers, documents and witnesses stay untold.
    """

    event: Any
    day: date
    told: bool = True


class Known(msgspec.Struct, frozen=True, kw_only=True):
    """All that is known of lots and of what they came of; `made` in order of position."""

    lots: Mapping[str, Lot]
    bags: Mapping[str, Bag]
    made: Mapping[str, list[Made]]
    entries: Mapping[tuple[str, str], Any]
    day_of: Callable[[str, str | None], date | None]


_GRAFTS = (grafting.TreesGrafted, grafting.TreesRegrafted)


def provenance(known: Known, code: str, bags: Iterable[str] = ()) -> Provenance:
    """Of trees of a lot; or of buds of a budwood lot, out of `bags`."""
    return _Tracing(known).of(code, bags)


class _Tracing:
    def __init__(self, known: Known) -> None:
        self.known = known
        self.documents: list[str] = []

    def _lot(self, code: str, kind: str = "tree") -> Lot:
        """The lot; one whose making was voided since is known by its code alone."""
        found = self.known.lots.get(code)
        return found or Lot(lot_id=0, code=code, kind=kind, site="", identified=False)

    def of(self, code: str, bags: Iterable[str]) -> Provenance:
        lot = self._lot(code)
        labels_lost = list(self._of_type(code, stock.LabelLost))
        if labels_lost:
            return self._unidentified(lot, labels_lost)
        days = [made.day for made in self._of_type(code, *_GRAFTS)]
        regrafts = [made.event.data.of for made in self._of_type(code, grafting.TreesRegrafted)]
        bought = self._bought_in(code)
        wood = self._wood(code, bags) if lot.kind == "budwood" else self._wood_of_tree(code)
        first = lot.day if lot.kind == "tree" else None
        interstocks, stocks = self._under(code)
        return self._told(
            lot,
            method=lot.method,
            grafted_on=first,
            grafted_until=max([*days, *([first] if first else [])], default=None),
            regraft_of=regrafts[0] if regrafts else None,
            wood=wood,
            interstocks=interstocks,
            stocks=stocks,
            bought_in=bought,
        )

    def _told(self, lot: Lot, *, may_be_of: Iterable[str] = (), **traced: Any) -> Provenance:
        cultivar = self.known.entries.get(("cultivar", lot.cultivar or ""))
        rootstock = self.known.entries.get(("rootstock", lot.rootstock or ""))
        named = cultivar if isinstance(cultivar, Cultivar) else None
        told = {
            "lot": lot.code,
            "cultivar": lot.cultivar,
            "botanical_name": named.species if named else None,
            "epithet": named.epithet if named else None,
            "clone": named.clone if named else None,
            "licence_holder": named.licence_holder if named else None,
            "rootstock": lot.rootstock,
            "rootstock_name": rootstock.name if isinstance(rootstock, Rootstock) else None,
            "attempt": lot.attempt,
            "identified": lot.identified,
            "may_be_of": sorted(may_be_of),
            "documents": list(dict.fromkeys(self.documents)),
            **traced,
        }
        return Provenance(**told, unknown=_unknown(lot.kind, told))

    def _unidentified(self, lot: Lot, labels_lost: list[Made]) -> Provenance:
        """Of trees without a label no more is told than what all lots they may be of share."""
        candidates = {line.lot for made in labels_lost for line in made.event.data.lines}
        traced = [_Tracing(self.known).of(code, ()) for code in sorted(candidates)]
        shared: dict[str, Any] = {}
        for name in _SHARED:
            values = [getattr(one, name) for one in traced]
            alike = bool(values) and all(value == values[0] for value in values)
            shared[name] = values[0] if alike else [] if name == "interstocks" else None
        self.documents = [document for one in traced for document in one.documents]
        may_be = {code for one in traced for code in (one.may_be_of or [one.lot])}
        return self._told(lot, may_be_of=may_be, **shared)

    # -- the scion ---------------------------------------------------------------------------

    def _of_type(self, code: str, *kinds: type[Envelope]) -> Iterable[Made]:
        return (made for made in self.known.made.get(code, ()) if isinstance(made.event, kinds))

    def _wood_of_tree(self, code: str) -> Wood | None:
        lines = [li for made in self._of_type(code, *_GRAFTS) for li in made.event.data.from_]
        lots = list(dict.fromkeys(line.lot for line in lines if line.lot))
        return self._wood(lots[0], [line.bag for line in lines]) if lots else None

    def _wood(self, code: str, bags: Iterable[str]) -> Wood:
        lot = self._lot(code, "budwood")
        source = (lot.source or "").partition(":")
        tree = source[2] if source[0] == "source_tree" else None
        entry = self.known.entries.get(("source_tree", tree or ""))
        named = entry if isinstance(entry, SourceTree) else None
        cut_on: date | None = None
        cut_from = supplier = note = witness = None
        for made in self.known.made.get(code, ()):
            event = made.event
            if isinstance(event, budwood.BudwoodCut):
                cut_on, cut_from = made.day, event.data.tree_lot
                witness = event.data.witness if made.told else None
            elif isinstance(event, budwood.BudwoodReceived):
                cut_on = self.known.day_of(event.site, event.data.cut_on)
                note = event.data.source_note if made.told else None
                supplier = self._supplier(made)
            elif isinstance(event, stock.StockOpened):
                for line in event.data.lines:
                    if isinstance(line, stock.OpenedBudwood) and line.lot == code:
                        cut_on = self.known.day_of(event.site, line.cut_on)
        return Wood(
            lot=code,
            bags=self._bags(bags),
            cut_on=cut_on,
            source_tree=tree,
            registration=named.registration if named else None,
            tree_class=named.tree_class if named else None,
            cut_from=cut_from,
            supplier=supplier,
            source_note=note,
            witness=witness,
        )

    def _bags(self, bags: Iterable[str]) -> list[str]:
        """The bags and those that their pieces were cut from, each once."""
        found: dict[str, None] = {}
        for code in bags:
            following: str | None = code
            while following is not None and following not in found:
                found[following] = None
                bag = self.known.bags.get(following)
                following = bag.parent if bag else None
        return list(found)

    def _supplier(self, made: Made) -> str | None:
        """Who it came from, its document kept; neither is told of a site that is not seen."""
        if not made.told:
            return None
        if made.event.data.document:
            self.documents.append(made.event.data.document)
        supplier: str | None = made.event.data.supplier
        return supplier

    def _bought_in(self, code: str) -> BoughtIn | None:
        for made in self._of_type(code, trees.TreesReceived):
            return BoughtIn(supplier=self._supplier(made), received_on=made.day)
        return None

    # -- what it stands on --------------------------------------------------------------------

    def _under(self, code: str) -> tuple[list[Interstock], Stocks | None]:
        """What a lot was grafted on, down to the liners: a scion that failed is left out."""
        between: list[Interstock] = []
        below: str | None = code
        seen: set[str] = set()
        while below is not None and below not in seen:
            seen.add(below)
            on, failed = self._grafted_on(below)
            if on is None:
                break
            lot = self._lot(on)
            if lot.kind == "liner":
                return between, self._stocks(on)
            if not failed:
                between.append(
                    Interstock(
                        lot=on,
                        cultivar=lot.cultivar,
                        method=lot.method,
                        grafted_on=lot.day,
                        wood=self._wood_of_tree(on),
                    )
                )
                self._bought_in(on)
            below = on
        return between, None

    def _grafted_on(self, code: str) -> tuple[str | None, bool]:
        """The lot that trees of a lot were grafted on, and whether its scion had failed."""
        for made in self._of_type(code, *_GRAFTS):
            if isinstance(made.event, grafting.TreesRegrafted):
                return made.event.data.of, True
            onto = made.event.data.onto
            return onto.liner_lot or onto.tree_lot, onto.stage == "failed"
        return None, False

    def _stocks(self, code: str) -> Stocks:
        for made in self._of_type(code, liners.LinersReceived):
            return Stocks(
                lot=code,
                received_on=made.day,
                supplier=self._supplier(made),
                seed_source=made.event.data.seed_source if made.told else None,
            )
        return Stocks(lot=code, received_on=None, supplier=None, seed_source=None)


_SHARED = ("method", "grafted_on", "grafted_until", "regraft_of", "wood", "interstocks", "stocks",
           "bought_in")  # fmt: skip


def _unknown(kind: str, told: Mapping[str, Any]) -> list[str]:
    """The names of what was not told, of all that is asked of trees, or of buds."""
    wood: Wood | None = told["wood"]
    asked: dict[str, Any] = {
        "cultivar": told["cultivar"],
        "source_tree": wood.source_tree if wood else None,
        "cut_on": wood.cut_on if wood else None,
    }
    if kind == "tree":
        names = ("rootstock", "method", "grafted_on", "stocks")
        asked |= {name: told[name] for name in names}
    return [name for name, value in asked.items() if value is None]
