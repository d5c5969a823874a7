"""What there is to choose from at an invented nursery: few codes, so that events meet.

Sites, places and codes of an example are its own, so that holds and claims of one do not reach
into another. C is in Madrid, V in Sydney; the days lie around both their changes of the clock.
"""

from datetime import date
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from hypothesis import strategies as st

from tests.ledger.model import Account, Ledger
from tests.support.bench_side import entry

counts = st.integers(1, 5) | st.integers(1, 12)
few = st.integers(1, 2) | st.integers(1, 3) | counts
# True seven times of eight: small numbers come oftener than others.
mostly = st.integers(0, 7).map(lambda number: number < 7)
zero_or_more = st.integers(0, 8)
sizes = st.sampled_from(["P9", "P9", "P9", "P12"])
DAYS = [f"2025-03-{day}" for day in range(28, 32)] + [f"2025-04-0{day}" for day in range(1, 9)]
TIMES = ["", "", "", "T08:00:00Z", "T16:00:00Z", "T23:30:00Z"]
moments = st.builds(str.__add__, st.sampled_from(DAYS), st.sampled_from(TIMES))
late_moments = st.sampled_from(DAYS[-4:])
PLACES = {"C": ["BOX", "TB1", "TB2", "RET"], "V": ["VBX", "VT1"]}
TABLES = {"C": ["TB1", "TB1", "TB2"], "V": ["VT1"]}
BOXES = {"C": "BOX", "V": "VBX"}
INSPECTED = (date(2025, 3, 30), date(2025, 4, 5))
HEALTH = {
    "authority": "the inspectors",
    "phone": "112",
    "country": "ES",
    "registration": "1",
    "inspected_on": str(INSPECTED[0]),
    "valid_until": str(INSPECTED[1]),
    "passport": {"title": "Plant Passport", "union_flag": True},
    "certified": {"statement": "Certified stock"},
}


class Choosing:
    """The codes of one example, and what stands by the model."""

    def __init__(self, prefix: str, model: Ledger) -> None:
        self.prefix = prefix
        self.model = model
        self.ids = 0

    def code(self, name: str) -> str:
        return self.prefix + name

    def catalogue(self) -> list[list[Any]]:
        """The two sites, then the places, cultivar and source tree of the example."""
        zones = {"C": "Europe/Madrid", "V": "Australia/Sydney"}
        sites, entries = [], []
        for name, zone in zones.items():
            site = self.code(name)
            norms = {} if name == "C" else {"returns_allowed": False, "regraft_same_source": False}
            where = {"latitude": 40, "longitude": 1}
            papers = {"plant_health": HEALTH} if name == "C" else {}
            said = {"name": name, "time_zone": zone, "norms": norms, **where, **papers}
            sites.append(entry("site", site, site, **said))
            entries += [
                entry("place", self.code(p), site, **self._place(name, p)) for p in PLACES[name]
            ]
        home = self.code("C")
        citrus = {"crop": "citrus", "species": "Citrus limon", "epithet": "Eureka"}
        entries.append(entry("cultivar", self.code("CV"), home, **citrus))
        tree = {"cultivar": self.code("CV"), "site": home}
        entries.append(entry("source_tree", self.code("ST"), home, **tree))
        return [sites, entries]

    def _place(self, site: str, place: str, retired: bool = False) -> dict[str, Any]:
        return {
            "site": self.code(site),
            "structure": "House 1",
            "for_returns": place == "RET",
            "retired": retired,
        }

    def event(self, kind: str, occurred: str, data: dict[str, Any], **more: Any) -> dict[str, Any]:
        self.ids += 1
        return {
            "id": str(uuid5(NAMESPACE_URL, f"{self.prefix}{self.ids}")),
            "type": kind,
            "site": self.code(more.pop("at", "C")),
            "occurred": occurred,
            "data": data,
            **more,
        }

    def one_of(self, data: st.DataObject, *names: str) -> str:
        return self.code(data.draw(st.sampled_from(names)))

    def lot(self, data: st.DataObject, kind: str, *names: str) -> str:
        """A lot of the kind that there is, or a name that there may be."""
        known = [c for c, lot in self.model.lots.items() if lot.kind == kind]
        return data.draw(st.sampled_from([*known, *known, *(self.code(name) for name in names)]))

    def table(self, data: st.DataObject, at: str) -> str:
        # Now and then one of the other site, which is as unknown as none at all.
        if data.draw(st.integers(0, 19)) == 19:
            at = "V" if at == "C" else "C"
        return self.one_of(data, *TABLES[at])

    def accounts(self, at: str, *account_kinds: str) -> list[Account]:
        site = self.code(at)
        return [
            a
            for a in self.model.entries
            if a.kind in account_kinds and a.site == site and not self.model.lots[a.lot].gone
        ]

    def standing(self, data: st.DataObject, at: str, *stages: str) -> dict[str, Any]:
        """One of the accounts of trees that there are, or might be."""
        known = [a for a in self.accounts(at, "trees") if not stages or a.stage in stages]
        full = [a for a in known if self.model.balance(a) > 0]
        if known and data.draw(mostly):
            a = data.draw(st.sampled_from([*full, *full, *known]))
            lot, place, stage, size, grade = a.lot, a.place, a.stage, a.size, a.grade
        else:
            pool = stages or ("grafted", "pushed", "failed", "ready")
            stage, size = data.draw(st.sampled_from(pool)), data.draw(sizes)
            lot, place = self.lot(data, "tree", "T1", "T2"), self.table(data, at)
            grade = "first" if stage == "ready" else ""
        where = {"lot": lot, "place": place, "stage": stage, "size": size}
        return where | ({"grade": grade or "ungraded"} if stage == "ready" else {})

    def tray(self, data: st.DataObject, at: str) -> dict[str, Any]:
        """Liners that stand there, or might."""
        known = self.accounts(at, "liners")
        if known and data.draw(mostly):
            full = [a for a in known if self.model.balance(a) > 0]
            a = data.draw(st.sampled_from([*full, *full, *known]))
            return {"lot": a.lot, "place": a.place, "size": a.size}
        lot = self.lot(data, "liner", "L1", "L2")
        return {"lot": lot, "place": self.table(data, at), "size": data.draw(sizes)}

    def wood(self, data: st.DataObject, at: str) -> dict[str, Any]:
        """A bag where it lies, or might."""
        known = self.accounts(at, "bag")
        if known and data.draw(mostly):
            full = [a for a in known if self.model.balance(a) > 0]
            a = data.draw(st.sampled_from([*full, *full, *known]))
            return {"bag": a.ref, "place": a.place}
        return {"bag": self.one_of(data, "B1", "B2", "B3"), "place": self.code(BOXES[at])}

    def tree_item(self) -> dict[str, Any]:
        return {"cultivar": self.code("CV"), "rootstock": "CARRIZO"}
