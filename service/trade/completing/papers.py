"""Completing the printing of papers: may they be printed, and what do they say?

Every refusal here stays one, also with `happened`: a paper can be left unprinted.
"""

from msgspec.structs import replace

from service.trade import holds
from service.trade.bench import Bench
from service.trade.books import Account, Lot
from service.trade.completing import completes
from service.trade.events.catalogue import Cultivar, SourceTree
from service.trade.events.papers import AsPrinted, PapersPrinted, PapersPrintedData
from service.trade.events.plant_health import PlantHealth
from service.trade.verdicts import refuse

# Trees whose scion is dead are no goods.
_LIVE = ("grafted", "pushed", "ready")
_OFFICIAL = ("plant_passport", "certified_tag")


@completes(PapersPrinted)
def _printed(bench: Bench, d: PapersPrintedData) -> PapersPrintedData:
    lot = bench.lot_here(d.lot, "#/data/lot")
    if lot.kind not in ("tree", "budwood"):
        raise refuse(
            "wrong_kind",
            f"{lot.code} is a {lot.kind} lot; papers are printed for trees and budwood.",
            "#/data/lot",
            code=lot.code,
            is_a=lot.kind,
        )
    if d.place is not None:
        bench.place(d.place, "#/data/place")
    if d.size is not None:
        bench.size(d.size, "#/data/size")
    accounts = _accounts(bench, lot, d)
    _few_enough(accounts, bench, d)
    _not_held(bench, lot, accounts)
    health = _entitled(bench, d) if d.paper in _OFFICIAL else None
    return replace(d, printed=_fields(bench, lot, accounts, d, health))


def _accounts(bench: Bench, lot: Lot, d: PapersPrintedData) -> list[Account]:
    """What stands of the lot at the site, in bags or as live trees, and what customers had."""
    return [
        account
        for key, account in bench.books.accounts_of(lot.code).items()
        if key.site == bench.here
        and (key.kind in ("bag", "customer") or (key.kind == "trees" and key.stage in _LIVE))
        and (d.place is None or key.place == d.place)
        and (d.size is None or key.kind == "customer" or key.size == d.size)
    ]


def _few_enough(accounts: list[Account], bench: Bench, d: PapersPrintedData) -> None:
    there = sum(account.at_end_of(bench.day) for account in accounts)
    if d.count > there:
        raise refuse(
            "counts_disagree",
            f"{d.count} papers for {d.lot}: by the book {there} stand there or were sold.",
            "#/data/count",
            count=d.count,
            there=there,
        )


def _not_held(bench: Bench, lot: Lot, accounts: list[Account]) -> None:
    """Refuse what a hold keeps from being sold, also one that began after the day told."""
    tokens = set(lot.ancestry) | {f"site:{bench.here}"}
    for account in accounts:
        if account.key.place and account.at_end_of(bench.day) > 0:
            tokens.add(f"place:{account.key.place}")
        if account.key.kind == "bag":
            tokens |= bench.books.bag_tokens(account.key.ref)
    for hold in bench.books.holds.values():
        stands = hold.in_force(bench.day) or hold.lifted_day is None
        if hold.token in tokens and stands and holds.SELL in holds.BLOCKS[hold.kind]:
            raise refuse(
                "held",
                f"Hold {hold.code} ({hold.kind.replace('_', ' ')}: {hold.reason}) on "
                f"{hold.target.replace('_', ' ')} {hold.target_code} stands since "
                f"{hold.from_day}: no paper is printed.",
                "#/data/lot",
                hold=hold.code,
                hold_kind=hold.kind,
                since=str(hold.from_day),
                blocks=holds.SELL,
            )


def _entitled(bench: Bench, d: PapersPrintedData) -> PlantHealth:
    """What the site may print such papers by; refused without it."""
    health = bench.site.plant_health
    form = health and (health.passport if d.paper == "plant_passport" else health.certified)
    what = d.paper.replace("_", " ")
    if health is None or not (form and health.registration and health.country):
        raise refuse(
            "not_registered",
            f"The catalogue does not say by which registration {bench.here} may print a {what}.",
            "#/data/paper",
            site=bench.here,
            paper=d.paper,
        )
    day, since, until = str(bench.day), health.inspected_on, health.valid_until
    if since is None or until is None or not since[:10] <= day <= until[:10]:
        known = (
            f"the last was on {since[:10]}, valid until {until[:10]}"
            if since and until
            else "none is in the catalogue with both its days"
        )
        raise refuse(
            "inspection_not_current",
            f"No inspection of {bench.here} is current on {day}: {known}.",
            "#/data/paper",
            site=bench.here,
            inspected_on=since,
            valid_until=until,
        )
    return health


def _fields(
    bench: Bench,
    lot: Lot,
    accounts: list[Account],
    d: PapersPrintedData,
    health: PlantHealth | None,
) -> AsPrinted:
    named = _cultivar(bench, lot, d.paper)
    tree = _source_tree(bench, lot)
    said = AsPrinted(
        botanical_name=named.species if named else None,
        traceability=lot.code,
        cultivar=lot.cultivar,
        epithet=named.epithet if named else None,
        clone=named.clone if named else None,
        rootstock=_rootstock(bench, lot),
        size=_size(bench, accounts, d.size),
        propagated=f"{lot.day:%Y-%m}" if lot.day else None,
        source_tree=tree.code if tree else None,
        source_registration=tree.registration if tree else None,
        protected=bool(named and named.licence_holder),
        licence_terms=named.licence_terms if named and named.licence_holder else None,
    )
    if health is None:
        return replace(said, origin=d.origin)
    said = replace(
        said,
        registration=f"{health.country}-{health.registration}",
        origin=_origin(bench, lot, d),
        inspected_on=health.inspected_on,
        valid_until=health.valid_until,
    )
    if d.paper == "plant_passport" and health.passport:
        return replace(said, title=health.passport.title, union_flag=health.passport.union_flag)
    certified = health.certified
    return replace(
        said,
        statement=certified.statement if certified else None,
        certificate=certified.number if certified else None,
    )


def _cultivar(bench: Bench, lot: Lot, paper: str) -> Cultivar | None:
    """The lot's; official papers and sale tags alike want to know what it is."""
    if lot.cultivar is None or not lot.identified:
        raise refuse(
            "missing",
            f"What {lot.code} is nobody can tell: a {paper.replace('_', ' ')} names the cultivar.",
            "#/data/lot",
            lot=lot.code,
        )
    return bench.books.catalogue.cultivar(lot.cultivar, "#/data/lot")


def _rootstock(bench: Bench, lot: Lot) -> str | None:
    if lot.rootstock is None:
        return None
    return bench.books.catalogue.rootstock(lot.rootstock, "#/data/lot").name


def _source_tree(bench: Bench, lot: Lot) -> SourceTree | None:
    kind, _, code = (lot.source or "").partition(":")
    if kind != "source_tree" or ("source_tree", code) not in bench.books.catalogue.entries:
        return None
    return bench.books.catalogue.source_tree(code, "#/data/lot")


def _size(bench: Bench, accounts: list[Account], said: str | None) -> str | None:
    """The size said, or the one in which all of it stands."""
    standing = {
        account.key.size
        for account in accounts
        if account.key.kind == "trees" and account.at_end_of(bench.day) > 0
    }
    code = said or (standing.pop() if len(standing) == 1 else None)
    return bench.books.catalogue.size(code, "#/data/size").label if code else None


def _origin(bench: Bench, lot: Lot, d: PapersPrintedData) -> str:
    """Where it was grown: what was grafted or cut here, in the country of the site that did it."""
    if d.origin is not None:
        return d.origin
    made_here = any(token.startswith(("bag:", "lot:")) for token in lot.parents)
    tree = _source_tree(bench, lot)
    if lot.kind == "budwood" and tree is not None and tree.site is not None:
        made_here = True
    health = bench.books.catalogue.site(lot.site).plant_health if made_here else None
    if health is None or health.country is None:
        raise refuse(
            "missing",
            f"Where {lot.code} was grown is not in the records: say in which country.",
            "#/data/origin",
            lot=lot.code,
        )
    return health.country
