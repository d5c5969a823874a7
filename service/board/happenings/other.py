"""What else happened: holds, counts, treatments, papers, as lines."""

from service.board.happenings.parts import Data, joined, note, numbers, on, several, tells, total
from service.wording.shown import Shown
from service.wording.trade_words import HOLD_KINDS, named
from service.wording.words import phrase

WORK = {
    "staked": phrase("staked"),
    "desuckered": phrase("suckers taken off"),
    "spaced": phrase("spaced"),
    "weeded": phrase("weeded"),
    "fed": phrase("fed"),
    "watered": phrase("watered"),
    "pruned": phrase("pruned"),
    "other": phrase("other work"),
}
PAPERS = {
    "sale_tag": phrase("sale tag"),
    "plant_passport": phrase("plant passport"),
    "certified_tag": phrase("certified tag"),
}


@tells("catalogue.changed")
def _catalogue(shown: Shown, data: Data) -> str:
    entry = data["entry"]
    return shown.words.gettext("List entry changed: %(code)s", code=entry.get("code", ""))


@tells("stock.opened")
def _opened(shown: Shown, data: Data) -> str:
    codes = several(shown, (line.get("lot") for line in data["lines"]))
    return shown.words.gettext("Books opened with %(codes)s", codes=codes)


@tells("work.done")
def _work(shown: Shown, data: Data) -> str:
    w = shown.words
    done = named(w, data["work"], WORK)
    return joined(w.gettext("Work: %(done)s", done=done), on(w, data.get("place")), note(data))


@tells("place.checked")
def _checked(shown: Shown, data: Data) -> str:
    w, seen = shown.words, data.get("totals") or {}
    names = (
        (phrase("pushed"), "pushed"),
        (phrase("waiting"), "waiting"),
        (phrase("failed"), "failed"),
        (phrase("dead"), "dead"),
    )
    counts = numbers(shown, *((name, seen.get(key)) for name, key in names))
    return joined(w.gettext("Looked over %(place)s", place=data["place"]), counts, note(data))


@tells("consignment.sent")
def _sent(shown: Shown, data: Data) -> str:
    return shown.words.gettext(
        "Consignment %(code)s sent to %(site)s",
        code=data.get("consignment", ""),
        site=data["to_site"],
    )


@tells("consignment.received")
def _arrived(shown: Shown, data: Data) -> str:
    w, dead = shown.words, total(data["lines"], "dead")
    return joined(
        w.gettext(
            "Consignment %(code)s arrived: %(count)s",
            code=data["consignment"],
            count=shown.number(total(data["lines"], "count")),
        ),
        numbers(shown, (phrase("dead on arrival"), dead or None)),
        note(data),
    )


@tells("stock.counted")
def _stock_counted(shown: Shown, data: Data) -> str:
    w, lines = shown.words, data["lines"]
    counted, book = total(lines, "counted"), total(lines, "book")
    text = w.gettext("Stock counted: %(counted)s, the book said %(book)s")
    return text % {"counted": shown.number(counted), "book": shown.number(book)}


@tells("label.lost")
def _label(shown: Shown, data: Data) -> str:
    lots = several(shown, (line["lot"] for line in data["lines"]))
    return shown.words.gettext("Label lost: trees of %(lots)s now unidentified", lots=lots)


@tells("hold.placed")
def _held(shown: Shown, data: Data) -> str:
    return shown.words.gettext(
        "Hold on %(code)s (%(kind)s): %(reason)s",
        code=data["code"],
        kind=named(shown.words, data["kind"], HOLD_KINDS),
        reason=data["reason"],
    )


@tells("hold.lifted")
def _lifted(shown: Shown, data: Data) -> str:
    return shown.words.gettext(
        "Hold %(hold)s lifted: %(reason)s", hold=data["hold"], reason=data["reason"]
    )


@tells("tools.disinfected")
def _tools(shown: Shown, data: Data) -> str:
    return shown.words.gettext("Tools disinfected with %(product)s", product=data["product"])


@tells("treatment.applied")
def _treated(shown: Shown, data: Data) -> str:
    return shown.words.gettext(
        "Treated with %(product)s: %(places)s",
        product=data["product"],
        places=several(shown, data["places"]),
    )


@tells("papers.printed")
def _printed(shown: Shown, data: Data) -> str:
    w = shown.words
    return w.gettext(
        "Printed %(count)s × %(paper)s",
        count=shown.number(data["count"]),
        paper=named(w, data["paper"], PAPERS),
    )


@tells("event.voided")
def _voided(shown: Shown, data: Data) -> str:
    return shown.words.gettext("An entry was voided: %(reason)s", reason=data["reason"])
