"""What each site says of itself in the catalogue when its books are opened."""

from datetime import date, timedelta
from typing import Any

from seed_scenario import nursery


def entries(site: str, first: date, many: int = 1) -> list[dict[str, Any]]:
    """The site's entries in an order that holds together. `first`: the first day told."""
    found: list[dict[str, Any]] = [site_entry(site, first - timedelta(days=40))]
    found += nursery.places(site, many)
    if site == "CORIN":
        # What all sites share is told by the first.
        found += _for_all()
    found += [
        _source_tree(code, cultivar, standing, site)
        for code, (cultivar, where, standing) in nursery.SOURCE_TREES.items()
        if where == site
    ]
    if site == "TARNA":
        ends = str(first + timedelta(days=200))
        tree = _source_tree(nursery.EXPIRING, "NAVEL", "scion", site)
        found.append({**tree, "last_tested_on": str(first - timedelta(days=160))})
        found[-1]["expires_on"] = ends
    if site == "ELDRA":
        found.append(_WALK_CHIP)
    return found


def site_entry(site: str, inspected: date) -> dict[str, Any]:
    """The site as it stands after an inspection; the next is due within a year."""
    health = nursery.PLANT_HEALTH[site] | {
        "inspected_on": str(inspected),
        "valid_until": str(inspected + timedelta(days=365)),
        "source": f"their letter of {inspected + timedelta(days=7)} (invented)",
    }
    return {"kind": "site", "code": site, **nursery.SITES[site], "plant_health": health}


_WALK_CHIP = {
    "kind": "check_plan",
    "code": "WALK-CHIP",
    "check": "push_walk",
    "method": "chip_bud",
    "stage": "grafted",
    "after": "take_read",
    "due_days": 200,
    "overdue_days": 260,
    "every_days": 14,
    "done_by": ["push.counted"],
    "source": "The site's own practice: a bud set in August sleeps until spring",
    "crop": "apple",
}


def _source_tree(code: str, cultivar: str, standing: str, site: str) -> dict[str, Any]:
    return {
        "kind": "source_tree",
        "code": code,
        "cultivar": cultivar,
        "tree_class": standing,
        "registration": f"reg-{code.lower()}",
        "site": site,
    }


def _for_all() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    found += [
        {"kind": "cultivar", "code": code, **facts} for code, facts in nursery.CULTIVARS.items()
    ]
    found += [
        {"kind": "rootstock", "code": code, "crop": crop, "name": name}
        for code, (crop, name) in nursery.ROOTSTOCKS.items()
    ]
    found += [
        {"kind": "size", "code": code, "label": label, "rank": rank}
        for code, (label, rank) in nursery.SIZES.items()
    ]
    found.append(
        {
            "kind": "rule",
            "code": "TRACE-KEEP",
            "title": "How long papers of plant passports are kept",
            "value": "3 years",
            "source": "Regulation (EU) 2016/2031, article 69(4); verify before relying on it",
            "as_of": "2025-01-01",
        }
    )
    found += [
        _destination("SEND-ES", "Trees and buds inside the country", "ES", "allowed"),
        _destination(
            "SEND-DRY-VALLEY",
            "No citrus into Dry Valley",
            "DRY-VALLEY",
            "not_allowed",
            crop="citrus",
        ),
    ]
    return found


def _destination(code: str, title: str, region: str, answer: str, **goods: str) -> dict[str, Any]:
    """A rule of where goods may go, so that the demo has an answer beside "ask"."""
    return {
        "kind": "rule",
        "code": code,
        "title": title,
        "value": answer.replace("_", " "),
        "source": "Invented for this story; no law says so",
        "as_of": "2025-01-01",
        "destination": {"region": region, "answer": answer, **goods},
    }
