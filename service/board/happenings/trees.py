"""What happened to trees, as lines."""

from service.board.happenings.parts import (
    Data,
    joined,
    note,
    numbers,
    on,
    several,
    some_trees,
    tells,
    total,
)
from service.wording.shown import Shown
from service.wording.trade_words import LOSS_CAUSES, METHODS, STAGES, TECHNIQUES, named
from service.wording.words import phrase


@tells("trees.returned")
def _returned(shown: Shown, data: Data) -> str:
    w = shown.words
    what = some_trees(w, total(data["lines"], "count"))
    return w.gettext("%(what)s came back from %(customer)s", what=what, customer=data["customer"])


@tells("trees.received")
def _trees_in(shown: Shown, data: Data) -> str:
    w = shown.words
    return w.gettext(
        "%(what)s bought in from %(supplier)s",
        what=some_trees(w, data["count"]),
        supplier=data["supplier"],
    )


@tells("trees.grafted", "trees.regrafted")
def _grafted(shown: Shown, data: Data) -> str:
    w = shown.words
    bags = several(shown, (line["bag"] for line in data["from"]))
    again = "of" in data
    onto = data["of"] if again else data["onto"].get("liner_lot") or data["onto"].get("tree_lot")
    text = (
        w.gettext("%(what)s grafted again, %(method)s, from %(bags)s onto %(onto)s")
        if again
        else w.gettext("%(what)s grafted, %(method)s, from %(bags)s onto %(onto)s")
    )
    said = text % {
        "what": some_trees(w, data.get("count")),
        "method": named(w, data["method"], METHODS),
        "bags": bags,
        "onto": onto or "",
    }
    return joined(said, on(w, data["place"]))


@tells("grafts.wrapped")
def _wrapped(shown: Shown, data: Data) -> str:
    w = shown.words
    return joined(
        w.gettext(
            "Wrapped %(what)s in %(material)s",
            what=some_trees(w, data.get("count")),
            material=data["material"],
        ),
        on(w, data.get("place")),
    )


@tells("grafts.unwrapped")
def _unwrapped(shown: Shown, data: Data) -> str:
    w = shown.words
    counts = numbers(
        shown,
        (phrase("alive"), data.get("alive")),
        (phrase("failed"), data.get("failed")),
        (phrase("left wrapped"), data.get("left_wrapped") or None),
    )
    return joined(
        w.gettext("Unwrapped, take read: %(counts)s", counts=counts), on(w, data.get("place"))
    )


@tells("tops.forced")
def _forced(shown: Shown, data: Data) -> str:
    w = shown.words
    how = named(w, data.get("technique") or "bent", TECHNIQUES)
    return joined(
        w.gettext(
            "Tops forced (%(how)s): %(what)s", how=how, what=some_trees(w, data.get("count"))
        ),
        on(w, data.get("place")),
        note(data),
    )


@tells("tops.removed")
def _tops_off(shown: Shown, data: Data) -> str:
    w = shown.words
    return joined(
        w.gettext("Tops taken off: %(what)s", what=some_trees(w, data.get("count"))),
        on(w, data.get("place")),
        note(data),
    )


@tells("push.counted")
def _push(shown: Shown, data: Data) -> str:
    w = shown.words
    counts = numbers(
        shown,
        (phrase("pushed"), data.get("pushed")),
        (phrase("waiting"), data.get("waiting")),
        (phrase("failed"), data.get("failed") or None),
        (phrase("unclear"), data.get("unclear") or None),
        (phrase("taken away dead"), total(data.get("removed") or (), "count") or None),
    )
    return joined(w.gettext("Push counted: %(counts)s", counts=counts), on(w, data.get("place")))


@tells("trees.lost")
def _lost(shown: Shown, data: Data) -> str:
    w = shown.words
    return joined(
        w.gettext(
            "%(what)s lost: %(cause)s",
            what=some_trees(w, data["count"]),
            cause=named(w, data["cause"], LOSS_CAUSES),
        ),
        on(w, data.get("place")),
        note(data),
    )


@tells("trees.graded")
def _graded(shown: Shown, data: Data) -> str:
    w = shown.words
    parts = [
        " ".join(
            part
            for part in (
                shown.number(one["count"]),
                named(w, one.get("stage") or "ready", STAGES),
                one.get("grade") or "",
            )
            if part
        )
        for one in data["outcomes"]
    ]
    return joined(
        w.gettext("Graded: %(counts)s", counts=", ".join(parts)), on(w, data.get("place"))
    )
