"""Budwood, liners and openings, drawn; counts, labels, holds and facts."""

from typing import Any

from hypothesis import strategies as st

from tests.ledger.choosing import BOXES, PLACES, Choosing, counts, few, sizes

# No alert has it: what is said of alerts is no part of the books.
ALERT = "0190a7a0-0000-7000-8000-000000000001"


class DrawsStock(Choosing):
    """What comes in, and what is said of what stands."""

    def bags(self, data: st.DataObject, at: str, bag: str, buds: int) -> list[dict[str, Any]]:
        basis = data.draw(st.sampled_from(["counted", "estimated", "at_least"]))
        fill = {"bag": bag, "buds": buds, "basis": basis, "place": self.code(BOXES[at])}
        return [fill]

    def draw_budwood_cut(self, data: st.DataObject, at: str) -> dict[str, Any]:
        lot, bag = data.draw(st.sampled_from([("W2", "B2"), ("W3", "B3"), ("W3", "B1")]))
        made: dict[str, Any] = {"lot": self.code(lot), "cultivar": self.code("CV")}
        if data.draw(st.booleans()):
            made["source_tree"] = self.code("ST")
        else:
            made["tree_lot"] = self.lot(data, "tree", "T1")
        return made | {"bags": self.bags(data, at, self.code(bag), data.draw(counts))}

    def draw_budwood_received(self, data: st.DataObject, at: str) -> dict[str, Any]:
        lot, bag = data.draw(st.sampled_from([("W1", "B1"), ("W2", "B2"), ("W2", "B1")]))
        made: dict[str, Any] = {
            "lot": self.code(lot),
            "cultivar": self.code("CV"),
            "supplier": "sup-1",
            "bags": self.bags(data, at, self.code(bag), data.draw(counts)),
        }
        return made | ({"source_tree": self.code("ST")} if data.draw(st.booleans()) else {})

    def bud_lines(self, data: st.DataObject, at: str) -> list[dict[str, Any]]:
        return [
            self.wood(data, at) | {"buds": data.draw(few)}
            for _ in range(data.draw(st.integers(1, 2)))
        ]

    def draw_budwood_discarded(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return {"lines": self.bud_lines(data, at), "cause": "dried"}

    def draw_budwood_moved(self, data: st.DataObject, at: str) -> dict[str, Any]:
        to = self.one_of(data, *PLACES[at])
        return {"lines": [self.wood(data, at) | {"buds": data.draw(few)}], "to": to}

    def draw_budwood_sold(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return {"customer": "cust-1", "lines": self.bud_lines(data, at)} | self.claimed(data)

    def draw_scions_prepared(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.wood(data, at) | {
            "into": self.one_of(data, "B3", "B4"),
            "to": self.one_of(data, *PLACES[at]),
            "pieces": data.draw(few),
            "buds_per_piece": data.draw(st.integers(1, 2)),
            "waste": data.draw(st.integers(0, 2)),
        }

    def draw_liners_received(self, data: st.DataObject, at: str) -> dict[str, Any]:
        basis = data.draw(st.sampled_from(["counted", "estimated"]))
        return self.liners(data.draw(st.sampled_from(["L1", "L2"])), data.draw(counts)) | {
            "basis": basis,
            "lines": [{"place": self.table(data, at), "count": data.draw(counts)}],
        }

    def liners(self, lot: str, count: int) -> dict[str, Any]:
        return {
            "lot": self.code(lot),
            "rootstock": "CARRIZO",
            "size": "P9",
            "supplier": "sup-1",
            "lines": [{"place": self.code("TB1"), "count": count}],
        }

    def draw_liners_discarded(self, data: st.DataObject, at: str) -> dict[str, Any]:
        cause = data.draw(st.sampled_from(["drought", "culled"]))
        return self.tray(data, at) | {"count": data.draw(few), "cause": cause}

    def draw_liners_moved(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.tray(data, at) | {"count": data.draw(few), "to": self.table(data, at)}

    def draw_liners_potted(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.tray(data, at) | self.potting(data, at)

    def potting(self, data: st.DataObject, at: str) -> dict[str, Any]:
        to = {"to": self.table(data, at)} if data.draw(st.booleans()) else {}
        return {"count": data.draw(few), "to_size": data.draw(st.sampled_from(["P9", "P12"]))} | to

    def draw_stock_opened(self, data: st.DataObject, at: str) -> dict[str, Any]:
        what = data.draw(st.sampled_from(["budwood", "liners", "trees"]))
        if what == "budwood":
            bags = self.bags(data, at, self.one_of(data, "B2", "B4"), data.draw(counts))
            line = {"lot": self.one_of(data, "W2", "W4"), "cultivar": self.code("CV"), "bags": bags}
            return {"lines": [line | {"kind": what}]}
        place = {"place": self.table(data, at), "size": "P9", "count": data.draw(counts)}
        if what == "liners":
            basis = data.draw(st.sampled_from(["counted", "at_least"]))
            line = {"lot": self.one_of(data, "L2", "L3"), "rootstock": "CARRIZO", "basis": basis}
        else:
            line = {"lot": self.one_of(data, "T3", "T4"), **self.tree_item(), "stage": "ready"}
        return {"lines": [line | place | {"kind": what}]}

    def draw_trees_received(self, data: st.DataObject, at: str) -> dict[str, Any]:
        grade = data.draw(st.sampled_from([{}, {"grade": "first"}]))
        return self.tree_item() | {
            "lot": self.one_of(data, "T4", "T5"),
            "supplier": "sup-2",
            "size": data.draw(sizes),
            "stage": "ready",
            "place": self.table(data, at),
            "count": data.draw(counts),
            **grade,
        }

    def draw_stock_counted(self, data: st.DataObject, at: str) -> dict[str, Any]:
        lines = []
        for _ in range(data.draw(st.integers(1, 2))):
            what = data.draw(st.sampled_from([self.standing, self.tray, self.wood]))
            lines.append(what(data, at) | {"counted": data.draw(st.integers(0, 20))})
        return {"lines": lines, "reason": "walked the table"}

    def draw_label_lost(self, data: st.DataObject, at: str) -> dict[str, Any]:
        lines = [
            self.standing(data, at) | {"count": data.draw(few)}
            for _ in range(data.draw(st.integers(1, 2)))
        ]
        number = data.draw(st.integers(1, 2))
        return {"lot": self.code(f"U{number}"), "hold": self.code(f"HU{number}"), "lines": lines}

    def draw_hold_placed(self, data: st.DataObject, at: str) -> dict[str, Any]:
        kind = data.draw(st.sampled_from(["plant_health", "licence", "identity", "quality"]))
        target = data.draw(st.sampled_from(["lot", "lot", "bag", "place", "source_tree", "site"]))
        of = data.draw(st.sampled_from(["tree", "budwood", "liner"]))
        code = {
            "lot": lambda: self.lot(data, of, "T3"),
            "bag": lambda: self.wood(data, at)["bag"],
            "place": lambda: self.table(data, at),
            "source_tree": lambda: self.code("ST"),
            "site": lambda: self.one_of(data, "V", "V", "C"),
        }[target]()
        hold = self.one_of(data, "H1", "H2", "H3")
        return {"hold": hold, "kind": kind, "target": target, "code": code, "reason": "a doubt"}

    def draw_hold_lifted(self, data: st.DataObject, at: str) -> dict[str, Any]:
        known = list(self.model.holds)
        hold = data.draw(st.sampled_from([*known, *known, self.code("H1")]))
        word = {"authority": "the inspector", "document": "letter 7"}
        return {"hold": hold, "reason": "cleared"} | (word if data.draw(st.booleans()) else {})

    def draw_tools_disinfected(self, data: st.DataObject, at: str) -> dict[str, Any]:
        before = self.one_of(data, "ST", "T1", "T9")
        return {"person": "p-1", "product": "bleach", "before": before}

    def draw_treatment_applied(self, data: st.DataObject, at: str) -> dict[str, Any]:
        ended = data.draw(st.sampled_from([None, "2025-03-02", "2025-03-30"]))
        return {"places": [self.table(data, at)], "product": "oil", "ended": ended}

    def draw_alert_acknowledged(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return {"alert": ALERT}

    def draw_alert_remind_on(self, data: st.DataObject, at: str) -> dict[str, Any]:
        on = data.draw(st.sampled_from(["2025-03-30", "2025-05-01"]))
        return {"alert": ALERT, "on": on}

    def draw_catalogue_changed(self, data: st.DataObject, at: str) -> dict[str, Any]:
        place = data.draw(st.sampled_from([*PLACES[at], "TB2"]))
        retired = data.draw(st.booleans())
        code = {"kind": "place", "code": self.code(place)}
        return {"entry": code | self._place(at, place, retired)}
