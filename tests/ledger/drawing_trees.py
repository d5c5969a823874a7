"""Grafting and what becomes of the trees, drawn; loads, reservations and sales."""

from typing import Any

from hypothesis import strategies as st

from tests.ledger.choosing import TABLES, Choosing, few, mostly, sizes, zero_or_more
from tests.ledger.model import Account

# Long over when the story is told to the service, or long to come.
EXPIRIES = [{"expires_at": "2025-12-31T00:00:00Z"}, {"expires_at": "2150-01-01T00:00:00Z"}]


class DrawsTrees(Choosing):
    """What is grafted, grown, sent and sold."""

    def grafting(self, data: st.DataObject, at: str) -> dict[str, Any]:
        count = data.draw(few)
        order = {} if data.draw(mostly) else {"work_order": self.order(data)}
        lines = [self.wood(data, at) | {"buds": count + data.draw(st.integers(0, 1))}]
        if not data.draw(mostly):
            lines.append(self.wood(data, at) | {"buds": 1})
        return {
            "lot": self.one_of(data, "T1", "T2", "T2", "T3", "T3"),
            "from": lines,
            "method": data.draw(st.sampled_from(["t_bud", "t_bud", "t_bud", "chip_bud"])),
            "count": count,
            "place": self.table(data, at),
            **order,
        }

    def order(self, data: st.DataObject) -> str:
        known = list(self.model.orders)
        return data.draw(st.sampled_from([*known, *known, self.code("O1")]))

    def draw_grafting_ordered(self, data: st.DataObject, at: str) -> dict[str, Any]:
        method = data.draw(st.sampled_from([{}, {"method": "t_bud"}]))
        return self.tree_item() | {
            "work_order": self.one_of(data, "O1", "O2", "O3"),
            "count": data.draw(few),
            "needed_by": "2025-04-20",
            "place": self.table(data, at),
            **method,
        }

    def draw_grafting_order_changed(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return {"work_order": self.order(data), "count": data.draw(few)}

    def draw_grafting_order_ended(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return {"work_order": self.order(data), "reason": "done"}

    def draw_trees_grafted(self, data: st.DataObject, at: str) -> dict[str, Any]:
        if data.draw(mostly):
            stocks = self.tray(data, at)
            onto = stocks | {"liner_lot": stocks["lot"]}
        else:
            stocks = self.standing(data, at, "pushed", "grafted", "ready")
            onto = stocks | {"tree_lot": stocks["lot"]}
            # A grafting has no word for a grade: ungraded trees are meant.
            onto.pop("grade", None)
        onto.pop("lot")
        return self.grafting(data, at) | {"onto": onto}

    def draw_trees_regrafted(self, data: st.DataObject, at: str) -> dict[str, Any]:
        old = self.standing(data, at, "failed", "grafted")
        where = {"of": old["lot"], "of_place": old["place"], "stage": old["stage"]}
        return self.grafting(data, at) | where | {"size": old["size"]}

    def draw_grafts_wrapped(self, data: st.DataObject, at: str) -> dict[str, Any]:
        where = self.standing(data, at, "grafted")
        return {name: where[name] for name in ("lot", "place")} | {"count": 1, "material": "film"}

    def draw_grafts_unwrapped(self, data: st.DataObject, at: str) -> dict[str, Any]:
        where = self.standing(data, at, "grafted")
        read = {"alive": data.draw(zero_or_more), "failed": data.draw(st.integers(0, 3))}
        return {name: where[name] for name in ("lot", "place", "size")} | read

    def tops(self, data: st.DataObject, at: str) -> dict[str, Any]:
        of = data.draw(st.sampled_from(["liner", "tree", "tree", "budwood"]))
        return {"lot": self.lot(data, of, "T1"), "place": self.table(data, at)}

    def draw_tops_forced(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.tops(data, at) | {"technique": "bent"}

    def draw_tops_removed(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.tops(data, at)

    def draw_work_done(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.tops(data, at) | {"work": "staked"}

    def draw_place_checked(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return {"place": self.table(data, at)}

    def draw_push_counted(self, data: st.DataObject, at: str) -> dict[str, Any]:
        where = self.standing(data, at, "grafted", "pushed", "failed")
        counted = {
            "pushed": data.draw(zero_or_more),
            "waiting": data.draw(zero_or_more),
            "unclear": data.draw(st.integers(0, 1)),
        }
        if data.draw(st.booleans()):
            counted["failed"] = data.draw(st.integers(0, 2))
        taken = data.draw(st.integers(0, 2))
        removed = [{"count": taken, "cause": "dead_stock"}] if taken else []
        where = {name: where[name] for name in ("lot", "place", "size")}
        return where | counted | {"removed": removed}

    def draw_trees_lost(self, data: st.DataObject, at: str) -> dict[str, Any]:
        cause = data.draw(st.sampled_from(["frost", "culled"]))
        return self.standing(data, at) | {"count": data.draw(few), "cause": cause}

    def draw_trees_moved(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.standing(data, at) | {"count": data.draw(few), "to": self.table(data, at)}

    def draw_trees_potted(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.standing(data, at) | self.potting(data, at)

    def draw_trees_graded(self, data: st.DataObject, at: str) -> dict[str, Any]:
        outcomes = []
        for _ in range(data.draw(st.integers(1, 2))):
            grade = data.draw(st.sampled_from([{}, {"grade": "first"}, {"grade": "second"}]))
            outcomes.append({"count": data.draw(few), "stage": "ready", **grade})
        return self.standing(data, at) | {"outcomes": outcomes}

    def draw_consignment_sent(self, data: st.DataObject, at: str) -> dict[str, Any]:
        lines = []
        for _ in range(data.draw(st.integers(1, 2))):
            what = data.draw(st.sampled_from([self.standing, self.standing, self.tray, self.wood]))
            lines.append(what(data, at) | {"count": data.draw(few)})
        other = "V" if at == "C" else "C"
        to_site = other if data.draw(mostly) else at
        code = self.one_of(data, "S1", "S2", "S3", "S4")
        return {"consignment": code, "to_site": self.code(to_site), "lines": lines}

    def draw_consignment_received(self, data: st.DataObject, at: str) -> tuple[str, dict[str, Any]]:
        """At the site that it goes to, of what travels and now and then of something else."""
        ways = [code for code, load in self.model.loads.items() if load.received is None]
        code = data.draw(st.sampled_from([*ways, *ways, self.code("S1")]))
        if code in self.model.loads and data.draw(mostly):
            at = self.model.loads[code].to_site.removeprefix(self.prefix)
        lines: list[dict[str, Any]] = []
        for a in self.accounts(at, "transit"):
            if a.place == code and data.draw(mostly):
                lines.append(self.arrived(a))
        if not lines or not data.draw(mostly):
            surplus = self.standing(data, at)
            if surplus not in [{n: line.get(n) for n in surplus} for line in lines]:
                known = [self.arrived(a) for a in self.accounts(at, "transit") if a.place == code]
                if not any(surplus["lot"] == line.get("lot") for line in known):
                    lines.append(surplus)
        if not lines:
            lines = [self.tray(data, at)]
        place = self.table(data, at)
        put = [
            line
            | {
                "place": place,
                "count": data.draw(zero_or_more),
                "dead": data.draw(st.integers(0, 2)),
            }
            for line in lines
        ]
        return at, {"consignment": code, "lines": put}

    @staticmethod
    def arrived(account: Account) -> dict[str, Any]:
        """A line of what travels on an account in transit."""
        if account.ref:
            return {"bag": account.ref}
        line = {"lot": account.lot, "size": account.size}
        if account.stage:
            line["stage"] = account.stage
        if account.stage == "ready":
            line["grade"] = account.grade or "ungraded"
        return line

    def claimed(self, data: st.DataObject) -> dict[str, Any]:
        if self.model.reservations and data.draw(mostly):
            return {"reservation": data.draw(st.sampled_from(list(self.model.reservations)))}
        return {}

    def draw_trees_sold(self, data: st.DataObject, at: str) -> dict[str, Any]:
        lines = [
            self.standing(data, at, "ready") | {"count": data.draw(few)}
            for _ in range(data.draw(st.integers(1, 2)))
        ]
        customer = data.draw(st.sampled_from(["cust-1", "cust-1", "cust-2"]))
        return {"customer": customer, "lines": lines} | self.claimed(data)

    def draw_trees_returned(self, data: st.DataObject, at: str) -> dict[str, Any]:
        sold = [
            a
            for a in self.accounts(at, "customer")
            if self.model.lots[a.lot].kind == "tree" and self.model.balance(a) > 0
        ]
        lot = data.draw(st.sampled_from(sold)).lot if sold else self.code("T1")
        place = self.one_of(data, "RET", "RET", *TABLES[at]) if at == "C" else self.code("VT1")
        line = {"lot": lot, "place": place, "size": "P9", "stage": "ready", "grade": "ungraded"}
        lines = [line | {"count": data.draw(few)}]
        return {"customer": "cust-1", "reason": "too small", "lines": lines}

    def reserved(self, data: st.DataObject) -> list[dict[str, Any]]:
        lines = []
        for _ in range(data.draw(st.integers(1, 2))):
            what = data.draw(st.sampled_from(["item", "item", "item", "buds", "lot"]))
            line: dict[str, Any] = {"cultivar": self.code("CV"), "count": data.draw(few)}
            if what == "buds":
                line["buds"] = True
            elif what == "lot":
                line = {"lot": self.lot(data, "tree", "T1"), "count": data.draw(few), "size": "P9"}
            else:
                grade = data.draw(st.sampled_from([{}, {"grade": "first"}, {"grade": "second"}]))
                line |= {"rootstock": "CARRIZO", "size": data.draw(sizes), **grade}
            lines.append(line)
        return lines

    def draw_reservation_made(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return {
            "reservation": self.one_of(data, "R1", "R2", "R3"),
            "customer": "cust-1",
            "any_site": data.draw(st.booleans()),
            "lines": self.reserved(data),
            **data.draw(st.sampled_from([{}, {}, {"needed_by": "2140-06-01"},
                                         {"needed_by": "2160-01-01"}])),
            **data.draw(st.sampled_from([{}, {}, {}, *EXPIRIES])),
            **data.draw(st.sampled_from([{}, {}, {"partial": True}])),
        }  # fmt: skip

    def draw_reservation_changed(self, data: st.DataObject, at: str) -> dict[str, Any]:
        change = data.draw(st.sampled_from([{}, {}, *EXPIRIES, {"cleared": ["expires_at"]}]))
        return self.reservation(data) | (change or {"lines": self.reserved(data)})

    def draw_reservation_confirmed(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.reservation(data) | data.draw(st.sampled_from([{}, {"order": "o-1"}]))

    def draw_reservation_expired(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.reservation(data)

    def reservation(self, data: st.DataObject) -> dict[str, Any]:
        known = [*self.model.reservations, self.code("R1")]
        return {"reservation": data.draw(st.sampled_from(known))}

    def draw_promise_overridden(self, data: st.DataObject, at: str) -> dict[str, Any]:
        """Mostly for the days on which the story is told to the service; or for later, or over."""
        days = [{"until": "2150-01-01"}, {"until": "2150-01-01"}, {"until": "2025-04-03"},
                {"from": "2140-01-01", "until": "2140-12-31"},
                {"from": "2140-01-02", "until": "2140-01-01"}]  # fmt: skip
        return (
            self.tree_item()
            | {
                "override": self.one_of(data, "PO1", "PO2", "PO3", "PO4"),
                "size": data.draw(sizes),
                "any_site": data.draw(st.booleans()),
                "quantity": data.draw(zero_or_more),
                "reason": "a tray is to come",
            }
            | data.draw(st.sampled_from([{}, {}, {"grade": "first"}]))
            | data.draw(st.sampled_from(days))
        )

    def draw_promise_override_ended(self, data: st.DataObject, at: str) -> dict[str, Any]:
        known = [*self.model.overrides, self.code("PO1")]
        return {"override": data.draw(st.sampled_from(known)), "reason": "it came"}

    def draw_reservation_released(self, data: st.DataObject, at: str) -> dict[str, Any]:
        return self.reservation(data) | {"reason": "gave up"}

    def draw_papers_printed(self, data: st.DataObject, at: str) -> dict[str, Any]:
        lot = self.lot(data, data.draw(st.sampled_from(["tree", "tree", "budwood"])), "T1", "T3")
        paper = data.draw(st.sampled_from(["sale_tag", "plant_passport", "certified_tag"]))
        return {"paper": paper, "lot": lot, "count": data.draw(few), "origin": "ES"}
