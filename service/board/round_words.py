"""The round's words for what was recorded, and for so many tables."""

from service.wording.words import Words, phrase

DONE: dict[str, str] = {
    "stock.opened": phrase("books opened"),
    "budwood.cut": phrase("budwood cut"),
    "budwood.received": phrase("budwood received"),
    "budwood.discarded": phrase("budwood thrown away"),
    "budwood.moved": phrase("budwood moved"),
    "budwood.sold": phrase("budwood sold"),
    "scions.prepared": phrase("scions prepared"),
    "liners.received": phrase("liners received"),
    "liners.discarded": phrase("liners lost"),
    "liners.moved": phrase("liners moved"),
    "liners.potted": phrase("liners potted"),
    "trees.received": phrase("trees received"),
    "grafts.wrapped": phrase("wrapped"),
    "grafts.unwrapped": phrase("unwrapped, take read"),
    "tops.forced": phrase("forced"),
    "tops.removed": phrase("tops off"),
    "work.done": phrase("other work"),
    "push.counted": phrase("push count"),
    "place.checked": phrase("place looked over"),
    "trees.lost": phrase("loss"),
    "trees.moved": phrase("trees moved"),
    "trees.potted": phrase("trees potted"),
    "trees.graded": phrase("graded"),
    "consignment.sent": phrase("consignment sent"),
    "consignment.received": phrase("consignment received"),
    "grafting.ordered": phrase("grafting ordered"),
    "grafting.order_changed": phrase("work order changed"),
    "grafting.order_ended": phrase("work order ended"),
    "reservation.made": phrase("reservation made"),
    "reservation.changed": phrase("reservation changed"),
    "reservation.confirmed": phrase("reservation confirmed"),
    "reservation.released": phrase("reservation released"),
    "promise.overridden": phrase("promise set by hand"),
    "promise.override_ended": phrase("promise by hand ended"),
    "trees.sold": phrase("trees sold"),
    "trees.returned": phrase("trees returned"),
    "stock.counted": phrase("stock count"),
    "label.lost": phrase("label lost"),
    "papers.printed": phrase("papers printed"),
    "hold.placed": phrase("hold placed"),
    "hold.lifted": phrase("hold lifted"),
    "tools.disinfected": phrase("tools disinfected"),
    "treatment.applied": phrase("treatment"),
}


def tables(words: Words, called: str, count: int) -> str:
    """So many tables, as the site calls them: table, bench or row."""
    if called == "bench":
        return words.ngettext("%(num)s bench", "%(num)s benches", count)
    if called == "row":
        return words.ngettext("%(num)s row", "%(num)s rows", count)
    return words.ngettext("%(num)s table", "%(num)s tables", count)
