"""What the service is told and answers. Written by `make client`: do not edit.

What the service may answer is open: a field or a value that a later version adds is no error.
What is only sent to it is closed: it knows its fields, in Python and when it is read from a file.

Fields that many shapes have:

actor: Who did it, as an opaque reference.
actor, carrier, customer, document, licence_holder, order, person, reference, registration,
  supplier: An opaque reference to a person, customer, supplier or paper: never a name or an
  address.
as_of, cut_on, expires_at, grafted_on, last_tested_on, needed_by, occurred: When it happened
  at the bench: an RFC 3339 time with an offset, or only the day (in the site's own
  calendar), as benches know the day.
authority, document, label, licence_terms, material, name, note, phone, product, rate,
  reason, seed_source, source, species, strength, title, value: Free text, 1 to 500
  characters.
bag, code, consignment, cultivar, hold, home_site, liner_lot, lot, override, place,
  reservation, rootstock, site, size, source_tree, to, to_site, to_size, tree_lot,
  work_order: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
  hyphen, at most 20 characters, unique in the nursery.
buds, count: How many, at least one.
counted, dead, failed, grafted, left_wrapped, line, pushed, waiting: How many, zero allowed.
grade: The grade the site uses; `ungraded` names trees without one where graded ones stand
  beside them.
happened: Say true when a fact was refused because it breaks a rule and it has happened all
  the same: it is then recorded and marked as a breach.
id: Set it to make a retry safe: the same id with the same content is answered as already
  known. Minted when left out.
next: Address of the next page; null on the last one.
position: The log's position that this reflects, or a later one.
replaces: The voided event that this one stands in for, if any.
site: The site that acts.
stage: Of trees: `grafted` (the bud has not pushed yet), `pushed`, `failed` (scion dead,
  stock alive), `ready` (saleable).
"""

from __future__ import annotations

import datetime
from typing import Any, TypeAlias

from msgspec import UNSET, Struct, UnsetType, field

from graftlog_client.open_words import Literal

Day: TypeAlias = datetime.date
Moment: TypeAlias = datetime.datetime


class Acknowledge(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Somebody has seen it.

    note: Free text, 1 to 4000 characters.
    """

    actor: str | None = None
    note: str | None = None


class AheadDay(Struct, kw_only=True, omit_defaults=True):
    """The air temperatures that one day is expected to have at the benches.

    day: A day of the site's own calendar, from today on.
    max_c: Degrees Celsius; kept to 0.01.
    min_c: Degrees Celsius; kept to 0.01.
    """

    day: Day
    max_c: float
    min_c: float


class AheadPut(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A forecast, whole. Without days it withdraws the one before.

    issued_at: When it was made.
    source: Who gave the forecast.
    """

    days: list[AheadDay]
    issued_at: Moment | None = None
    source: str


class AheadReport(Struct, kw_only=True, omit_defaults=True):
    """What was recorded. The version is the same when nothing changed."""

    days: int
    first: Day | None
    last: Day | None
    version: int


class AlertAcknowledged(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="alert.acknowledged",
    forbid_unknown_fields=True,
):
    """An alert was acknowledged."""

    actor: str | None = None
    data: AlertAcknowledgedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class AlertAcknowledgedData(Struct, kw_only=True, omit_defaults=True):
    """Somebody has seen an alert.

    alert: A UUID in lower case; version 7 (RFC 9562) is best, since it sorts by time.
    note: Free text, 1 to 4000 characters.
    """

    alert: str
    note: str | None = None


class AlertRemindOn(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="alert.remind_on",
    forbid_unknown_fields=True,
):
    """An alert is to come back on a day."""

    actor: str | None = None
    data: AlertRemindOnData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class AlertRemindOnData(Struct, kw_only=True, omit_defaults=True):
    """Be quiet about an alert until a day.

    alert: A UUID in lower case; version 7 (RFC 9562) is best, since it sorts by time.
    on: The day to be reminded.
    """

    alert: str
    on: str


class AlertRow(Struct, kw_only=True, omit_defaults=True):
    """An alert.

    `level` 2 is the louder one of a check that is long overdue. `event`: the id of the event
    whose remark it is. `acknowledged_by`, `remind_on` and `note` are from the newest word
    said of it; its state is open again once the day to be reminded has come.

    closed_because: `done` or `no_longer_due` (of a check), `louder_one_raised`, `voided`,
      `counted`, `put_right`, `covered` (what is promised), `no_longer_so`.
    """

    acknowledged_by: str | None
    check: str | None
    closed_at: str | None
    closed_because: str | None
    detail: str
    due_on: Day | None
    event: str | None
    id: str
    kind: str
    level: int
    lot: str | None
    note: str | None
    numbers: dict[str, Any]
    place: str | None
    raised_at: str
    remind_on: Day | None
    site: str | None
    state: Literal["acknowledged", "closed", "open", "remind_on"]
    subject: str | None


class AlertsOpen(Struct, kw_only=True, omit_defaults=True):
    """Alerts of a kind that nobody has seen to."""

    count: int
    kind: str
    since: str


class Api(Struct, kw_only=True, omit_defaults=True):
    """An interface (`anchor`) and where its description, its pages and its health are."""

    anchor: str
    service_desc: list[Target] = field(name="service-desc")
    service_doc: list[Target] = field(name="service-doc")
    status: list[Target]


class AsPrinted(Struct, kw_only=True, omit_defaults=True):
    """What a paper says, as the records had it when it was printed. The writer fills it in.

    botanical_name: Part A of a plant passport.
    origin: Part D: country of origin.
    propagated: Month of grafting, or of cutting.
    protected: The cultivar has a licence holder: it is not to be propagated.
    registration: Part B: country and registration number.
    rootstock: Its name.
    size: Its label.
    title: The words at a passport's head.
    traceability: Part C: the lot's code.
    """

    botanical_name: str | None = None
    certificate: str | None = None
    clone: str | None = None
    cultivar: str | None = None
    epithet: str | None = None
    inspected_on: str | None = None
    licence_terms: str | None = None
    origin: str | None = None
    propagated: str | None = None
    protected: bool = False
    registration: str | None = None
    rootstock: str | None = None
    size: str | None = None
    source_registration: str | None = None
    source_tree: str | None = None
    statement: str | None = None
    title: str | None = None
    traceability: str
    union_flag: bool = False
    valid_until: str | None = None


class AskedLink(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """How long a link is to last.

    hours: Until it ends, if nobody used it.
    """

    hours: int = 72


class AskedSignOut(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Which device is to be signed out.

    device: Its `id`. Left out: all; a link and addresses of calendars go too.
    """

    device: str | None = None


class AskedTest(Struct, kw_only=True, omit_defaults=True):
    """A test message that is on its way.

    message: Its id: look for it among the deliveries.
    """

    message: str
    type: str = "webhook.test"


class AtConfidence(Struct, kw_only=True, omit_defaults=True):
    """How many can be promised at one confidence.

    earliest: First day for the quantity asked; null: none asked, or not in sight.
    sure: The confidence in words.
    """

    can_be_promised: int
    confidence: float
    earliest: Day | None
    sure: str


class Availability(Struct, kw_only=True, omit_defaults=True):
    """A page of what can be reserved. It says no position of the log, so that it stays the
    same, and its ETag with it, until one of its numbers changes.
    """

    items: list[AvailabilityRow]
    next: str | None


class AvailabilityChanged(Struct, kw_only=True, omit_defaults=True):
    """Rows of the availability list that changed. `gone`: keys of rows that are there no more."""

    gone: list[str]
    items: list[Offered]


class AvailabilityRow(Struct, kw_only=True, omit_defaults=True):
    """How many of an item can be reserved at a site for a day: so many are accepted, not one
    more.

    `available` holds on `date`, `changes` are later days from which on it is another number.
    A number may fall as well as rise: what is promised for later is kept back, and trees may
    die unsold. Rows overlap: trees of any grade and of any site are those of each. None of
    it says that a thing may be sent anywhere: `sending` says what the nursery's rules say,
    where a destination is given.

    earliest: First day for all of it; null: none asked, or not in sight.
    enough: Whether so many can be reserved.
    goods: Whole trees, or buds of a cultivar.
    grade: null: of any grade.
    key: Names the row. The same as long as it is there.
    quantity: As asked.
    ready: How many stand ready today, promised ones among them: trees graded ready, or buds
      in bags, that are not held, not come back, and not grown for a customer. No more than
      these can go today, however many are available: the rest are foreseen to be ready, and
      nobody has graded them yet.
    rootstock: null: buds.
    sending: null: no destination given.
    site: null: trees of any site will do.
    size: null: buds.
    sure: How sure the numbers are: what is foretold with a probability, or `counted`:
      nothing is foretold of it, it is what is ready now, not held and not promised.
    """

    available: int
    changes: list[FromDay]
    cultivar: str
    date: Day
    earliest: Day | None
    enough: bool | None
    goods: Literal["buds", "trees"]
    grade: str | None
    key: str
    name: str
    quantity: int | None
    ready: int
    rootstock: str | None
    sending: Sending | None
    site: str | None
    size: str | None
    sure: str
    words: str


class BagAtHand(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="plan",
    tag="bag",
    forbid_unknown_fields=True,
):
    """A bag is at hand: what its buds can make, by method.

    buds_wasted: Share of the buds that can't be used. Left out: 0.15, as 10 to 20 % are
      common practice (no source).
    confidence: How sure it is to be: 0.8 is 8 in 10 sure. Left out: what the nursery
      promises at.
    methods: Left out: all that something is known of.
    """

    bag: str
    buds_wasted: float = 0.15
    confidence: float | None = None
    methods: list[
        Literal[
            "bark",
            "chip_bud",
            "cleft",
            "epicotyl",
            "four_flap",
            "inverted_t_bud",
            "micro_bud",
            "patch_bud",
            "side",
            "side_veneer",
            "softwood",
            "splice",
            "t_bud",
            "whip_and_tongue",
        ]
    ] = field(default_factory=list)


class BagFill(Struct, kw_only=True, omit_defaults=True):
    """One labelled bag: how many buds, on how many sticks, and where it lies.

    bag: The bag's code. Minted when left out.
    basis: Whether the figure was counted, estimated or is a minimum. A bag or tray that was
      not counted may yield more than its figure; that is remarked, not refused.
    buds: Usable buds in the bag.
    place: Where the bag lies, often a cooler.
    sticks: Budsticks in the bag.
    """

    bag: str | None = None
    basis: Literal["at_least", "counted", "estimated"] = "counted"
    buds: int
    place: str
    sticks: int | None = None


class BagOnHand(Struct, kw_only=True, omit_defaults=True):
    """A bag of a budwood lot and the buds left in it, place by place.

    buds: When it was filled.
    left: Buds left now, at the sites that the key sees.
    parent: The bag that its pieces were cut from.
    """

    basis: str
    buds: int
    buds_per_piece: int | None
    code: str
    left: int
    parent: str | None
    pieces: int | None
    place: str | None
    site: str | None
    sticks: int | None


class BagPlanned(Struct, kw_only=True, omit_defaults=True, tag_field="plan", tag="bag"):
    """What a bag can make, most trees first.

    made_at: When the forecast was made; null: none.
    """

    bag: str
    confidence: float
    made_at: str | None
    makings: list[Making]
    position: int
    remarks: list[str]
    sure: str


class BagToUse(Struct, kw_only=True, omit_defaults=True):
    """Wood whose usual keeping time has passed or soon will. A look at the wood decides."""

    bag: str
    basis: str
    buds: int
    crop: str | None
    cultivar: str | None
    keep_days: int
    lot: str
    place: str
    use_by: Day


class Basis(Struct, kw_only=True, omit_defaults=True):
    """What a promise rests on.

    foretold_at: null: nothing is foretold of it.
    looks_to: The last day told; later days count as that one.
    lots: Lots that they are in.
    position: The log's position that was foretold from.
    trees: Trees ready or still growing that can become it.
    """

    foretold_at: str | None
    learned: list[LearnedHere]
    looks_to: Day | None
    lots: int
    position: int
    trees: int


class BookedStanding(Struct, kw_only=True, omit_defaults=True):
    """What the book had at (lot, place) when the count was taken; filled by the log."""

    failed: int
    grafted: int
    pushed: int


class BoughtIn(Struct, kw_only=True, omit_defaults=True):
    """Trees that came grafted."""

    received_on: Day
    supplier: str | None


class BudLine(Struct, kw_only=True, omit_defaults=True):
    """Buds taken out of one bag. Left out, `buds` means all that the bag holds.

    lot: The bag's budwood lot; filled by the log.
    place: Where the bag lay. Found from the books.
    """

    bag: str
    buds: int | None = None
    lot: str | None = None
    place: str | None = None


class BudwoodCut(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="budwood.cut",
    forbid_unknown_fields=True,
):
    """Budwood was cut on the nursery's own trees into labelled bags (buds: source → bags)."""

    actor: str | None = None
    data: BudwoodCutData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class BudwoodCutData(Struct, kw_only=True, omit_defaults=True):
    """One cutting: one cultivar, one source tree (or a tree lot of the nursery's), one day.

    lot: Code of the budwood lot. Minted when left out.
    source_tree: The registered tree it was cut from.
    tree_lot: Or the nursery's own tree lot.
    witness: Who witnessed the cutting, where law asks.
    """

    bags: list[BagFill]
    cultivar: str
    lot: str | None = None
    source_tree: str | None = None
    tree_lot: str | None = None
    witness: str | None = None


class BudwoodDiscarded(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="budwood.discarded",
    forbid_unknown_fields=True,
):
    """Buds were thrown away (buds: bag → discarded)."""

    actor: str | None = None
    data: BudwoodDiscardedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class BudwoodDiscardedData(Struct, kw_only=True, omit_defaults=True):
    """Buds thrown away, and why."""

    cause: Literal["dried", "left_over", "mould", "other", "source_failed"]
    lines: list[BudLine]
    note: str | None = None


class BudwoodMoved(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="budwood.moved",
    forbid_unknown_fields=True,
):
    """Bags were moved inside the site (buds: place → place)."""

    actor: str | None = None
    data: BudwoodMovedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class BudwoodMovedData(Struct, kw_only=True, omit_defaults=True):
    """Bags carried from one place to another of the same site.

    to: The place they lie at now.
    """

    lines: list[BudLine]
    to: str


class BudwoodReceived(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="budwood.received",
    forbid_unknown_fields=True,
):
    """Budwood came in from a supplier (buds: source → bags)."""

    actor: str | None = None
    data: BudwoodReceivedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class BudwoodReceivedData(Struct, kw_only=True, omit_defaults=True):
    """Bags received from a supplier.

    cut_on: Day of cutting on the label.
    document: Passport, certificate or permit number.
    source_note: What the label says of the source.
    source_tree: The source tree, if it is in the catalogue.
    """

    bags: list[BagFill]
    cultivar: str
    cut_on: str | None = None
    document: str | None = None
    lot: str | None = None
    source_note: str | None = None
    source_tree: str | None = None
    supplier: str


class BudwoodRow(Struct, kw_only=True, omit_defaults=True):
    """Buds left of a bag at a place.

    `age_days` count from cutting, or from receipt where that is not known, to the site's
    today. `keep_days` and `use_by` are null for crops whose keeping time is not known.
    """

    age_days: int
    bag: str
    basis: str
    buds: int
    crop: str | None
    cultivar: str | None
    cut_on: Day | None
    keep_days: int | None
    keep_days_source: str | None
    lot: str
    past_use_by: bool
    pieces: int | None
    place: str
    received_on: Day
    site: str
    source: str | None
    sticks: int | None
    use_by: Day | None


class BudwoodSold(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="budwood.sold",
    forbid_unknown_fields=True,
):
    """Buds were sold (buds: bag → customer)."""

    actor: str | None = None
    data: BudwoodSoldData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class BudwoodSoldData(Struct, kw_only=True, omit_defaults=True):
    """Buds sold to a customer.

    destination: Where they go: every region that place lies in.
    fulfils: Filled by the log.
    """

    customer: str
    destination: list[str] | None = None
    document: str | None = None
    fulfils: list[Fulfilled] = field(default_factory=list)
    lines: list[SoldBuds]
    order: str | None = None
    reservation: str | None = None


class Calendar(Struct, kw_only=True, omit_defaults=True):
    """A calendar that its owner subscribed to.

    read_on: The newest day on which a calendar program asked for it.
    sites: `*` for every site that its owner sees.
    version: Its ETag.
    """

    changed_at: str
    code: str
    language: Literal["en", "es"]
    made_at: str
    read_on: Day | None
    shows: list[Literal["bags", "checks", "orders"]]
    sites: list[str]
    version: int


class CalendarDetails(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What a calendar shows.

    language: In which its entries are written.
    shows: checks that are due; orders to graft and reservations to hand over; bags by the
      day to use them. Left out: all three.
    sites: Whose days; left out: of every site that its owner sees, now and later.
    """

    language: Literal["en", "es"] = "en"
    shows: list[Literal["bags", "checks", "orders"]] | None = None
    sites: list[str] | None = None


class CatalogueChanged(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="catalogue.changed",
    forbid_unknown_fields=True,
):
    """An entry of the catalogue was made or changed."""

    actor: str | None = None
    data: CatalogueChangedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class CatalogueChangedData(Struct, kw_only=True, omit_defaults=True):
    """One entry as it stands from now on, whole."""

    entry: Entry


class CatalogueItem(Struct, kw_only=True, omit_defaults=True):
    """An entry of the catalogue and the position of its last change, which is its ETag.

    position: A place in the log; the first event has 1.
    """

    entry: Entry
    position: int


class CellFault(Struct, kw_only=True, omit_defaults=True):
    """What is wrong at a line of a file (1 is the header's), and in which column if in one."""

    column: str | None = None
    detail: str
    kind: str = "bad_value"
    line: int
    numbers: dict[str, Any] = field(default_factory=dict)


class CertifiedForm(Struct, kw_only=True, omit_defaults=True):
    """What the nursery may print on tags of certified stock.

    number: Of the certificate.
    statement: Word for word.
    """

    number: str | None = None
    statement: str


class CheckHere(Struct, kw_only=True, omit_defaults=True):
    """A check that is due at a place, for all lots of one crop and plan there together.

    `lot` is the lot that waits longest, null for a look at the whole place. `days_late`
    counts from the day that it became due, `days_overdue` from the first day on which it was
    overdue.

    degree_days: Degree-days (Cd) that the site had since the day it became due, up to
      yesterday, by the crop's way of counting a day's minimum and maximum. null: of a look,
      of a crop whose thresholds are not known, or nothing was recorded.
    degree_days_missing: Days of these whose temperatures nobody has recorded.
    source: Where the plan's days are from.
    trees: Trees of the plan's stage, all these lots together.
    """

    after: str
    check: str
    counted_from: Day
    crop: str | None
    days_late: int
    days_overdue: int
    degree_days: float | None
    degree_days_missing: int
    due_on: Day
    last_done: Day | None
    lot: str | None
    lots: int
    overdue_on: Day
    plan: str
    source: str
    state: Literal["due", "overdue"]
    trees: int


class CheckPlan(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="check_plan"):
    """Which check is due when, for a crop, method and stage.

    after: What the days count from: grafting, wrapping, the take read, forcing, the first
      push, or the last time this check was done (grafting before the first).
    check: The check's name.
    crop: Left out: any crop.
    done_by: Events that count as having done it.
    due_days: First due this many days after.
    every_days: Due again at this interval. Left out: once.
    method: Left out: any method.
    overdue_days: Overdue when more days than this have passed.
    source: Where the days are from.
    stage: Due while trees of this stage stand there. Left out: any live tree.
    """

    after: Literal["forced", "grafted", "last", "pushed", "take_read", "wrapped"]
    check: str
    code: str
    crop: str | None = None
    done_by: list[
        Literal[
            "grafts.unwrapped",
            "grafts.wrapped",
            "place.checked",
            "push.counted",
            "tops.forced",
            "tops.removed",
            "trees.graded",
            "work.done",
        ]
    ]
    due_days: int
    every_days: int | None = None
    method: (
        Literal[
            "bark",
            "chip_bud",
            "cleft",
            "epicotyl",
            "four_flap",
            "inverted_t_bud",
            "micro_bud",
            "patch_bud",
            "side",
            "side_veneer",
            "softwood",
            "splice",
            "t_bud",
            "whip_and_tongue",
        ]
        | None
    ) = None
    overdue_days: int
    retired: bool = False
    source: str
    stage: Literal["grafted", "pushed", "ready"] | None = None


class CheckPlanBody(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Which check is due when, for a crop, method and stage.

    after: What the days count from: grafting, wrapping, the take read, forcing, the first
      push, or the last time this check was done (grafting before the first).
    check: The check's name.
    crop: Left out: any crop.
    done_by: Events that count as having done it.
    due_days: First due this many days after.
    every_days: Due again at this interval. Left out: once.
    method: Left out: any method.
    overdue_days: Overdue when more days than this have passed.
    source: Where the days are from.
    stage: Due while trees of this stage stand there. Left out: any live tree.
    """

    after: Literal["forced", "grafted", "last", "pushed", "take_read", "wrapped"]
    check: str
    code: str | UnsetType = UNSET
    crop: str | None = None
    done_by: list[
        Literal[
            "grafts.unwrapped",
            "grafts.wrapped",
            "place.checked",
            "push.counted",
            "tops.forced",
            "tops.removed",
            "trees.graded",
            "work.done",
        ]
    ]
    due_days: int
    every_days: int | None = None
    kind: Literal["check_plan"] | UnsetType = UNSET
    method: (
        Literal[
            "bark",
            "chip_bud",
            "cleft",
            "epicotyl",
            "four_flap",
            "inverted_t_bud",
            "micro_bud",
            "patch_bud",
            "side",
            "side_veneer",
            "softwood",
            "splice",
            "t_bud",
            "whip_and_tongue",
        ]
        | None
    ) = None
    overdue_days: int
    retired: bool = False
    source: str
    stage: Literal["grafted", "pushed", "ready"] | None = None


class CheckRow(Struct, kw_only=True, omit_defaults=True):
    """One check and its state on the site's day `today`.

    `lot` is null for a look at the whole place. `due_on` is the first day due, `overdue_on`
    the first day overdue. `trees` are those of the plan's stage at the place. `counted_from`
    is the day of what the plan counts `after`. `source` says where the plan's days are from.
    """

    after: str
    check: str
    counted_from: Day
    cultivar: str | None
    days_overdue: int
    due_on: Day
    last_done: Day | None
    lot: str | None
    overdue_on: Day
    place: str
    plan: str
    rootstock: str | None
    site: str
    source: str
    state: Literal["due", "overdue", "upcoming"]
    today: Day
    trees: int


class ClimateNormal(Struct, kw_only=True, omit_defaults=True):
    """Mean daily minimum and maximum of each month over many years, at or near the site.

    Where the site's own record is short, the weather ahead leans on it.

    max_c: Degrees Celsius, January to December.
    min_c: Degrees Celsius, January to December.
    source: Who states it, for which station and years.
    """

    max_c: list[float]
    min_c: list[float]
    source: str


class ClockedPageOfBudwoodRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list that can be asked on both clocks.

    as_of: The day or time asked for; null: now.
    days: Where `as_of` is a time: the day at whose end each site is told of.
    known_at: The log's position whose knowledge this is; no later event counts.
    """

    as_of: str | None
    days: dict[str, Day] | None
    items: list[BudwoodRow]
    known_at: int
    next: str | None
    position: int


class ClockedPageOfCheckRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list that can be asked on both clocks.

    as_of: The day or time asked for; null: now.
    days: Where `as_of` is a time: the day at whose end each site is told of.
    known_at: The log's position whose knowledge this is; no later event counts.
    """

    as_of: str | None
    days: dict[str, Day] | None
    items: list[CheckRow]
    known_at: int
    next: str | None
    position: int


class ClockedPageOfLotSummary(Struct, kw_only=True, omit_defaults=True):
    """A page of a list that can be asked on both clocks.

    as_of: The day or time asked for; null: now.
    days: Where `as_of` is a time: the day at whose end each site is told of.
    known_at: The log's position whose knowledge this is; no later event counts.
    """

    as_of: str | None
    days: dict[str, Day] | None
    items: list[LotSummary]
    known_at: int
    next: str | None
    position: int


class ClockedPageOfReadyCountRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list that can be asked on both clocks.

    as_of: The day or time asked for; null: now.
    days: Where `as_of` is a time: the day at whose end each site is told of.
    known_at: The log's position whose knowledge this is; no later event counts.
    """

    as_of: str | None
    days: dict[str, Day] | None
    items: list[ReadyCountRow]
    known_at: int
    next: str | None
    position: int


class ClockedPageOfReadyDateRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list that can be asked on both clocks.

    as_of: The day or time asked for; null: now.
    days: Where `as_of` is a time: the day at whose end each site is told of.
    known_at: The log's position whose knowledge this is; no later event counts.
    """

    as_of: str | None
    days: dict[str, Day] | None
    items: list[ReadyDateRow]
    known_at: int
    next: str | None
    position: int


class ClosedHouse(Struct, kw_only=True, omit_defaults=True):
    """A house that nobody may enter, or of which it is not known.

    `until` is the latest moment that any of its treatments asks for, with the site's offset;
    null when none of them had an interval recorded: then the label and whoever applied it
    say. `unsaid`: at least one was recorded without an interval. `closed_places`: all places
    in the house.
    """

    closed_places: list[str]
    site: str
    structure: str
    treatments: list[Treatment]
    unsaid: bool
    until: str | None


class CloudEvent(Struct, kw_only=True, omit_defaults=True):
    """An event of the log as a CloudEvent 1.0. What does not apply is left out, never null.

    dataschema: Address of the schema of `data`.
    id: The event's own id.
    recordedtime: When the log learned of it.
    sequence: Its position in the log, with zeros before it: later sorts after.
    source: Address of the site that acted.
    subject: What it is about, such as lot/T-1.
    time: When it happened: `occurred_at` of the event.
    """

    data: StoredEvent
    datacontenttype: str | UnsetType = UNSET
    dataschema: str
    id: str
    recordedtime: str
    sequence: str
    source: str
    specversion: str
    subject: str | None = None
    time: str
    type: str


class ComingCheck(Struct, kw_only=True, omit_defaults=True):
    """Checks of a name that become due on a day."""

    check: str
    day: Day
    lots: int
    places: int
    trees: int


class Confirm(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """The customer has ordered.

    order: The customer's order that it is for.
    """

    order: str | None = None


class ConsignmentReceived(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="consignment.received",
    forbid_unknown_fields=True,
):
    """A consignment arrived (in transit → places; dead → lost; shortage and surplus →
    variance).
    """

    actor: str | None = None
    data: ConsignmentReceivedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ConsignmentReceivedData(Struct, kw_only=True, omit_defaults=True):
    """A load that arrived; it closes the consignment."""

    consignment: str
    lines: list[ReceivedLine]
    note: str | None = None


class ConsignmentSent(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="consignment.sent",
    forbid_unknown_fields=True,
):
    """A consignment left (place → in transit, owned by the receiving site)."""

    actor: str | None = None
    data: ConsignmentSentData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ConsignmentSentData(Struct, kw_only=True, omit_defaults=True):
    """A load that left for another site of the nursery.

    document: Permit, passport or waybill.
    """

    carrier: str | None = None
    consignment: str | None = None
    document: str | None = None
    lines: list[SentLine]
    to_site: str


class Contact(Struct, kw_only=True, omit_defaults=True):
    """A reference and who stands behind it. `sites`: whose keys see it, `*` for every site's.

    version: Its ETag.
    """

    address: str | None
    changed_at: str
    changed_by: str
    email: str | None
    kind: Literal["customer", "person"]
    name: str
    note: str | None
    phone: str | None
    reference: str
    sites: list[str]
    version: int


class ContactDetails(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Who a reference stands for.

    address: A postal address.
    email: An email address.
    kind: person: who grafts or records (actor, grafter). customer: who buys.
    name: The name.
    note: What else is to be known.
    phone: A telephone number.
    sites: The sites whose keys see it. Left out: as it was; of a new one the sites that the
      key sees (a key of every site: every site).
    """

    address: str | None = None
    email: str | None = None
    kind: Literal["customer", "person"]
    name: str
    note: str | None = None
    phone: str | None = None
    sites: list[str] | None = None


class CountedLine(Struct, kw_only=True, omit_defaults=True):
    """What was counted of one account: buds of a bag, liners or trees of a lot at a place.

    book: By the book; filled by the log.
    """

    bag: str | None = None
    book: int | None = None
    counted: int
    grade: str | None = None
    lot: str | None = None
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None


class CropDegreeDays(Struct, kw_only=True, omit_defaults=True):
    """How the nursery counts the degree-days of a crop from a day's minimum and maximum.

    Where a site's loggers read nearly all hours they are summed instead, between the same
    thresholds and with the same cutoff.

    crop: As cultivars name it.
    cutoff: Above the upper threshold growth goes on at its rate (horizontal), slows by as
      much as it is passed (intermediate), or stands still (vertical).
    lower_c: Below it nothing grows, degrees Celsius.
    method: How the day between its minimum and maximum is imagined.
    upper_c: Above it the cutoff says what counts, degrees Celsius.
    """

    crop: str
    cutoff: Literal["horizontal", "intermediate", "vertical"] = "horizontal"
    lower_c: float
    method: Literal[
        "double_sine",
        "double_triangle",
        "modified_average",
        "simple_average",
        "single_sine",
        "single_triangle",
    ] = "single_sine"
    upper_c: float


class CropRow(Struct, kw_only=True, omit_defaults=True):
    """How a crop's degree-days are counted, and what is assumed of it without observations.

    `rule` is the nursery's own rule that states the thresholds, null where they are those
    that the service came with. They hold for a day's minimum and maximum; a site whose
    loggers read nearly all hours sums these instead, between the same thresholds. `grown`:
    the catalogue has cultivars of it.
    """

    as_of: str | None
    counting: str | None
    crop: str
    cutoff: str | None
    grown: bool
    lower_c: float | None
    rule: str | None
    source: str | None
    upper_c: float | None
    weak_figures: list[WeakFigure]


class Cultivar(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="cultivar"):
    """What is grafted.

    clone: Budline or clone.
    crop: A short lower-case word.
    epithet: Cultivar epithet, bare of quotes (ICNCP).
    licence_counts: What is owed for: trees sold, less those returned, or grafts made.
    """

    clone: str | None = None
    code: str
    crop: str
    epithet: str
    licence_counts: Literal["grafted", "sold"] | None = None
    licence_holder: str | None = None
    licence_terms: str | None = None
    retired: bool = False
    species: str


class CultivarBody(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What is grafted.

    clone: Budline or clone.
    crop: A short lower-case word.
    epithet: Cultivar epithet, bare of quotes (ICNCP).
    licence_counts: What is owed for: trees sold, less those returned, or grafts made.
    """

    clone: str | None = None
    code: str | UnsetType = UNSET
    crop: str
    epithet: str
    kind: Literal["cultivar"] | UnsetType = UNSET
    licence_counts: Literal["grafted", "sold"] | None = None
    licence_holder: str | None = None
    licence_terms: str | None = None
    retired: bool = False
    species: str


class DayRow(Struct, kw_only=True, omit_defaults=True):
    """What there was at the end of `day`, and by how much the day changed it.

    What there was before the first day is told on the first day, with a `change` of 0 when
    that day changed nothing. For the kinds lost, customer, used and discarded the quantity
    is the sum since the books were opened.
    """

    change: int
    commodity: str
    cultivar: str | None = None
    day: Day
    grade: str | None = None
    kind: str
    quantity: int
    rootstock: str | None = None
    site: str | None = None
    size: str | None = None
    stage: str | None = None


class Delivery(Struct, kw_only=True, omit_defaults=True):
    """One attempt to bring a message.

    message: The message's id (header webhook-id): the same at each attempt.
    next_at: When it is tried again, if it is.
    outcome: arrived; answered (another status than 2xx); timeout; unreachable; cut_off (the
      answer broke off); refused (the address is none for messages).
    position: Of the event; null for a topic.
    """

    at: str
    attempt: int
    detail: str | None
    message: str
    milliseconds: int
    next_at: str | None
    number: int
    outcome: str
    position: int | None
    status: int | None
    type: str


class DestinationRow(Struct, kw_only=True, omit_defaults=True):
    """Whether goods may leave a site for the destination, as far as the nursery's rules say.

    goods: Whole trees, or buds of a cultivar.
    rootstock: null: buds.
    """

    cultivar: str
    goods: Literal["buds", "trees"]
    rootstock: str | None
    sending: Sending
    site: str


class DestinationRule(Struct, kw_only=True, omit_defaults=True):
    """Which goods may be sent where. What is left out is any; a narrower rule goes before a
    wider.

    Goods must fit all that is said: the sites they leave from, what they are.

    answer: Whether a thing may be sent somewhere by a rule that was written down. No advice:
      who answers for plant health there decides, and `ask_authority` says to ask.
    crop: A short lower-case word.
    goods: Left out: both.
    region: A country or a part of one by ISO 3166 (ES, US-CA), or a regulated area as the
      nursery names it. A country's parts lie in it.
    rootstock: A rule with one is for trees.
    sites: Sites they leave from; none named: any.
    """

    answer: Literal["allowed", "ask_authority", "not_allowed"]
    crop: str | None = None
    cultivar: str | None = None
    goods: Literal["buds", "trees"] | None = None
    region: str
    rootstock: str | None = None
    sites: list[str] = field(default_factory=list)
    species: str | None = None


class Destinations(Struct, kw_only=True, omit_defaults=True):
    """A page of answers, all for one destination."""

    destination: list[str]
    items: list[DestinationRow]
    next: str | None


class Device(Struct, kw_only=True, omit_defaults=True):
    """A browser that is signed in."""

    ends_at: str
    id: str
    label: str
    last_seen_at: str
    signed_in_at: str


class Discard(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Let it go.

    reason: Why it is let go; kept with who and when.
    """

    reason: str


class Done(Struct, kw_only=True, omit_defaults=True):
    """What a person recorded of a day, by type of event. `trees`: how many were grafted."""

    day: Day
    entries: int
    last: str
    person: str
    trees: int | None
    type: str


class Doubt(Struct, kw_only=True, omit_defaults=True):
    """A doubtful reading.

    `impossible`: no air at a bench is so. `spike`: more than 10 C off the readings before
    and after it, to one side. `stuck`: the same for a day and longer. These are never
    counted. `jump`: more than 15 C off the one before, and it stays there; counted.
    """

    celsius: float
    doubt: Literal["impossible", "jump", "spike", "stuck"]
    sensor: str
    time: str


class EarlierSending(Struct, kw_only=True, omit_defaults=True):
    """What was sent for an item before other content took its place.

    attempt: The last attempt with this content.
    """

    at: str
    attempt: int
    principal: str
    raw: str
    reasons: list[RefusalReason]


class EventPage(Struct, kw_only=True, omit_defaults=True):
    """A page of events, and where to go on after it.

    after: Go on with this as `after`: on the last page too, when there is more to tell. All
      that is wanted up to there has been told.
    """

    after: int
    items: list[StoredEvent]
    next: str | None
    position: int


class EventVoided(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="event.voided",
    forbid_unknown_fields=True,
):
    """An event was voided: its legs are reversed at its own date; both stay in the log."""

    actor: str | None = None
    data: EventVoidedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class EventVoidedData(Struct, kw_only=True, omit_defaults=True):
    """An event that should not stand, and why.

    event: A UUID in lower case; version 7 (RFC 9562) is best, since it sorts by time.
    position: Filled by the log.
    """

    event: str
    position: int | None = None
    reason: str


class Fault(Struct, kw_only=True, omit_defaults=True):
    """One reason for a refusal: a named kind, words, where, and the numbers to put it right.

    `pointer` is a JSON Pointer (RFC 6901) in URI fragment form, from the event's own root.
    """

    detail: str
    kind: str
    numbers: dict[str, Any] = field(default_factory=dict)
    pointer: str = "#"


class FileReport(Struct, kw_only=True, omit_defaults=True):
    """What became of a file: all of it was recorded, or nothing.

    check: true: judged only, nothing was stored.
    known: Events that were recorded before.
    position: The log's newest position at the time.
    recorded: Events that are new in the log.
    refused: Lines with a fault.
    """

    check: bool
    known: int
    lines: list[LineReport]
    position: int
    recorded: int
    refused: int
    sheet: str


class FittingBag(Struct, kw_only=True, omit_defaults=True):
    """A bag on hand at the site, of the cultivar, that no hold blocks.

    buds: Buds left in it at the place.
    buds_per_tree: By the piece, else by the order's method, else one at least.
    past_use_by: Past the usual keeping time: look at the wood before it is used.
    take_for: For how many of the trees still wanted to take it, oldest first.
    trees: How many trees its buds are enough for.
    """

    bag: str
    basis: str
    buds: int
    buds_per_tree: int
    lot: str
    past_use_by: bool
    place: str
    take_for: int
    trees: int
    use_by: Day | None


class FittingLiners(Struct, kw_only=True, omit_defaults=True):
    """Liners at the site that the order can be grafted on, and that no hold blocks.

    take: How many of them the trees still wanted take.
    """

    count: int
    lot: str
    place: str
    size: str
    take: int


class FromDay(Struct, kw_only=True, omit_defaults=True):
    """So many from that day on, until the next one."""

    available: int
    date: Day


class Frost(Struct, kw_only=True, omit_defaults=True):
    """Days foretold to be as cold as the site's norm, and what the forecast in force covers.

    covers_until: Its last day; null: none of its days is still to come. Then nothing is
      known of the nights ahead.
    given_at: null: no forecast was ever given for the site.
    limit_c: null: frost is not watched here.
    """

    covers_until: Day | None
    days: list[AheadDay]
    given_at: str | None
    limit_c: float | None
    source: str | None


class Fulfilled(Struct, kw_only=True, omit_defaults=True):
    """How much of a reservation's line a sale fulfilled; filled by the log."""

    count: int
    line: int


class GivenAhead(Struct, kw_only=True, omit_defaults=True):
    """The forecast in force for a site's next days; days that have passed are in it too.

    Version 0: none was ever given.
    """

    days: list[AheadDay]
    issued_at: str | None
    recorded_at: str | None
    site: str
    source: str | None
    version: int


class Gone(Struct, kw_only=True, omit_defaults=True):
    """What left a lot: used, lost, discarded or sold, and to what or why; or was miscounted.

    What was made or received of a lot is what stands of it, travels and is gone, added up.

    count: How many are gone. Of kind variance: more than 0 when fewer were found than the
      book said, less than 0 when more were.
    kind: used, lost, discarded, customer; or variance: what stock counts and consignments
      found against the book.
    ref: The cause, the customer, or the lot it went into.
    """

    commodity: Literal["buds", "plants"]
    count: int
    kind: str
    ref: str
    site: str


class Graded(Struct, kw_only=True, omit_defaults=True):
    """One outcome of a grading: so many trees, of this grade and stage.

    caliper_mm: Stem above the union, mm.
    height_cm: Height, cm.
    """

    caliper_mm: int | None = None
    count: int
    grade: str | None = None
    height_cm: int | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] = "ready"


class GraftedBy(Struct, kw_only=True, omit_defaults=True):
    """One grafter's part of the work."""

    count: int
    person: str


class Grafting(Struct, kw_only=True, omit_defaults=True):
    """A grafting for an order, by its event.

    counts: false: of another cultivar or rootstock, so not toward the order.
    """

    count: int
    counts: bool
    day: Day
    grafters: list[GraftedBy]
    id: str
    lot: str
    position: int
    voided: bool
    work_order: str


class GraftingAhead(Struct, kw_only=True, omit_defaults=True):
    """Work orders that are not filled: how many, and the trees still wanted of them."""

    first: Day | None
    late: int
    late_trees: int
    this_week: int
    this_week_trees: int


class GraftingList(Struct, kw_only=True, omit_defaults=True):
    """A day's grafting at a site. Bags and liners are given out once, order by order.

    more: More than 500 orders wait: only the first are shown.
    position: The log's position that this reflects.
    """

    day: Day
    grafter: str | None
    more: bool
    orders: list[OrderOfTheDay]
    position: int
    site: str
    site_name: str


class GraftingOrderChanged(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="grafting.order_changed",
    forbid_unknown_fields=True,
):
    """A work order was changed (says what is still wanted from then on)."""

    actor: str | None = None
    data: GraftingOrderChangedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class GraftingOrderChangedData(Struct, kw_only=True, omit_defaults=True):
    """What is wanted from now on; what is left out stays as it was.

    Another cultivar or rootstock is another order.

    count: Trees still to graft from now on, beside what is done.
    customer: The customer it is for, if any.
    grafters: Who is to graft; nobody named: anybody.
    liner_lot: The liner lot to graft on. Left out: any of the rootstock.
    method: Left out: any method will do.
    needed_by: The day by which it is to be grafted, in the site's calendar.
    place: Where the trees are to stand after grafting.
    reservation: The reservation it is to fulfil, if any.
    """

    count: int | None = None
    customer: str | None = None
    grafters: list[str] | None = None
    liner_lot: str | None = None
    method: (
        Literal[
            "bark",
            "chip_bud",
            "cleft",
            "epicotyl",
            "four_flap",
            "inverted_t_bud",
            "micro_bud",
            "patch_bud",
            "side",
            "side_veneer",
            "softwood",
            "splice",
            "t_bud",
            "whip_and_tongue",
        ]
        | None
    ) = None
    needed_by: str | None = None
    note: str | None = None
    place: str | None = None
    reservation: str | None = None
    work_order: str


class GraftingOrderEnded(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="grafting.order_ended",
    forbid_unknown_fields=True,
):
    """A work order was ended."""

    actor: str | None = None
    data: GraftingOrderEndedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class GraftingOrderEndedData(Struct, kw_only=True, omit_defaults=True):
    """Nothing more of it is to be grafted. An order never ends by itself."""

    note: str | None = None
    reason: Literal["cancelled", "done", "other"]
    work_order: str


class GraftingOrdered(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="grafting.ordered",
    forbid_unknown_fields=True,
):
    """Grafting was ordered (an intention: unknown codes are refused)."""

    actor: str | None = None
    data: GraftingOrderedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class GraftingOrderedData(Struct, kw_only=True, omit_defaults=True):
    """So many trees of one cultivar on one rootstock (or one liner lot), by a day.

    count: Trees to graft.
    customer: The customer it is for, if any.
    grafters: Who is to graft; nobody named: anybody.
    liner_lot: The liner lot to graft on. Left out: any of the rootstock.
    method: Left out: any method will do.
    needed_by: The day by which it is to be grafted, in the site's calendar.
    place: Where the trees are to stand after grafting.
    reservation: The reservation it is to fulfil, if any.
    rootstock: Found from the liner lot when that is named.
    work_order: Code of the order. Minted when left out.
    """

    count: int
    cultivar: str
    customer: str | None = None
    grafters: list[str] = field(default_factory=list)
    liner_lot: str | None = None
    method: (
        Literal[
            "bark",
            "chip_bud",
            "cleft",
            "epicotyl",
            "four_flap",
            "inverted_t_bud",
            "micro_bud",
            "patch_bud",
            "side",
            "side_veneer",
            "softwood",
            "splice",
            "t_bud",
            "whip_and_tongue",
        ]
        | None
    ) = None
    needed_by: str
    note: str | None = None
    place: str | None = None
    reservation: str | None = None
    rootstock: str | None = None
    work_order: str | None = None


class GraftsUnwrapped(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="grafts.unwrapped",
    forbid_unknown_fields=True,
):
    """Grafts were unwrapped and the take read (trees grafted → failed)."""

    actor: str | None = None
    data: GraftsUnwrappedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class GraftsUnwrappedData(Struct, kw_only=True, omit_defaults=True):
    """The wrap came off and the take was read.

    alive: Union healed, bud alive.
    failed: Scion dead, stock alive.
    """

    alive: int | None = None
    failed: int = 0
    left_wrapped: int = 0
    lot: str
    place: str | None = None
    size: str | None = None


class GraftsWrapped(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="grafts.wrapped",
    forbid_unknown_fields=True,
):
    """Grafts were wrapped (a fact, nothing moves)."""

    actor: str | None = None
    data: GraftsWrappedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class GraftsWrappedData(Struct, kw_only=True, omit_defaults=True):
    """Grafts wrapped or tied. `count` left out: all."""

    count: int | None = None
    lot: str
    material: str
    place: str | None = None


class GrowthRow(Struct, kw_only=True, omit_defaults=True):
    """So many pushed trees of a lot that went the same way between the same days.

    Every pushed tree is in one row of the first five outcomes; `ready_dead` and `ready_gone`
    say of trees that are in a row `ready` what became of them later. Days are calendar days
    of the site.

    after_day: The last day on which a grading left them among the pushed; null where none
      had. A push count is no look at whether they are fit for sale.
    by_day: Day on which the outcome was seen.
    cause: Of `dead`, `culled`, `ready_dead`: the cause of loss, null where the scion died
      and the stock still stands. Of `gone`, `ready_gone`: sold, regrafted, grafted_onto,
      label_lost, not_found.
    grade: The grade that they were given first.
    outcome: `ready`: graded so on `by_day`, not ready on `after_day` (interval-censored).
      `growing`: not ready on `after_day` (right-censored). `dead`, `culled`, `gone`: left on
      `by_day` before they were ready. `ready_dead` (culled too), `ready_gone`: graded ready
      on `after_day`, left on `by_day`.
    site: Where they ended, or stand.
    size: The size as they ended, or stand.
    started: The size they pushed in.
    """

    after_day: Day | None
    attempt: int
    by_day: Day | None
    cause: str | None
    crop: str | None
    cultivar: str | None
    grade: str | None
    grafted_on: Day | None
    lot: str
    method: str | None
    outcome: Literal["culled", "dead", "gone", "growing", "ready", "ready_dead", "ready_gone"]
    rootstock: str | None
    site: str
    size: str
    started: str
    trees: int


class Health(Struct, kw_only=True, omit_defaults=True):
    """Whether the service can answer: `pass`, or `fail` with what is amiss."""

    checks: dict[str, str] = field(default_factory=dict)
    status: str


class HoldLifted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="hold.lifted",
    forbid_unknown_fields=True,
):
    """A hold was lifted (from the day it occurred)."""

    actor: str | None = None
    data: HoldLiftedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class HoldLiftedData(Struct, kw_only=True, omit_defaults=True):
    """A hold ended. For a plant-health hold say which authority released it and by what paper."""

    authority: str | None = None
    document: str | None = None
    hold: str
    reason: str


class HoldNow(Struct, kw_only=True, omit_defaults=True):
    """A hold; in force until it is lifted.

    position: A place in the log; the first event has 1.
    """

    code: str
    from_day: Day
    kind: str
    lifted_day: Day | None
    lifted_position: int | None
    position: int
    reason: str
    site: str
    target: str
    target_code: str


class HoldPlaced(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="hold.placed",
    forbid_unknown_fields=True,
):
    """A hold was placed (from the day it occurred)."""

    actor: str | None = None
    data: HoldPlacedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class HoldPlacedData(Struct, kw_only=True, omit_defaults=True):
    """A stop on a lot, bag, source tree, place or site, and on all that descends from it.

    code: The code of what is held.
    hold: Minted when left out.
    kind: What the hold is for. Plant-health holds block use, moves, sales and throwing away;
      the others block sales. A plant-health hold is lifted only by the word of the authority
      that may do so.
    """

    code: str
    hold: str | None = None
    kind: Literal["identity", "licence", "other", "plant_health", "quality"]
    reason: str
    target: Literal["bag", "lot", "place", "site", "source_tree"]


class Index(Struct, kw_only=True, omit_defaults=True):
    """Where to go from here."""

    description: str
    docs: str
    events: str
    service: str
    version: str


class Interstock(Struct, kw_only=True, omit_defaults=True):
    """A piece of another cultivar between rootstock and scion."""

    cultivar: str | None
    grafted_on: Day | None
    lot: str
    method: str | None
    wood: Wood | None


class LabelLost(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="label.lost",
    forbid_unknown_fields=True,
):
    """A label was lost (trees of candidate lots → an unidentified lot, on hold)."""

    actor: str | None = None
    data: LabelLostData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class LabelLostData(Struct, kw_only=True, omit_defaults=True):
    """Trees whose label is gone: they leave their lots for an unidentified lot, on hold.

    hold: The hold put on it. Minted when left out.
    lot: The unidentified lot. Minted when left out.
    """

    hold: str | None = None
    lines: list[Unlabelled]
    lot: str | None = None
    note: str | None = None


class LearnedHere(Struct, kw_only=True, omit_defaults=True):
    """What was learned of the crop, and on how much it rests.

    `what`, as in `/v1/learned`: `push`, `push_from_forcing` and `ready` in degree-days (Cd)
    counted as `counting` says, `take`, `survival`, `never_pushes`, `unfit` as shares. `low`
    to `high` holds the true middle with 80 % probability; a single lot lies within `lot_low`
    to `lot_high` with 80 %.

    fallback: Where it borrows, and from whom.
    """

    counting: str
    fallback: str | None
    high: float
    lot_high: float
    lot_low: float
    lots: int
    low: float
    middle: float
    trees: int
    what: str


class LearnedRow(Struct, kw_only=True, omit_defaults=True):
    """One thing learned of a crop: an estimate, how wide it is, and what it rests on.

    `push`, `push_from_forcing` and `ready` are degree-days (Cd) of the middle tree of a lot
    from grafting, from forcing and from the lot's middle push; the others are shares from 0
    to 1: `take` of all grafts, `never_pushes` of those that took, `survival` (not dead) from
    push to ready, `unfit` of those that live. `low` to `high` holds the true `middle` with
    probability 0.8; a single lot lies within `lot_low` to `lot_high` with 0.8 (of
    `never_pushes` and `unfit` it is not known how lots differ: both are alike). `spread`: of
    the trees of one lot, the standard deviation of the logarithm (times) or the correlation
    within a lot (shares). `method`, `site` null: all. Sites that count degree-days in
    another way are learned of apart: `counting`. `trees` in `lots` were counted; `fallback`
    says from whom it borrows, null where they carry it.
    """

    counting: str
    crop: str
    fallback: str | None
    family: str | None
    high: float
    lot_high: float
    lot_low: float
    lots: int
    low: float
    made_at: str
    method: str | None
    middle: float
    position: int
    site: str | None
    spread: float
    trees: int
    what: str
    words: str


class LeftLine(Struct, kw_only=True, omit_defaults=True):
    """A line of the reservation: what is still to come of it."""

    asked: int
    item: str
    line: int
    lot: str | None
    open: int


class Licence(Struct, kw_only=True, omit_defaults=True):
    """All protected cultivars of one holder. `owed`: of those of which it is known.

    owed_unknown: Cultivars of which it is not known what counts.
    """

    cultivars: list[LicensedCultivar]
    licence_holder: str
    owed: int
    owed_unknown: list[str]


class LicencesNow(Struct, kw_only=True, omit_defaults=True):
    """Counts by holder; `position` is the log's position that they reflect, or a later one.

    sold_unidentified: Trees sold, less those returned, of which nobody can tell the
      cultivar: some may be of these.
    """

    items: list[Licence]
    position: int
    sold_unidentified: int


class LicensedCultivar(Struct, kw_only=True, omit_defaults=True):
    """A protected cultivar over the days asked for, in trees but for `buds_sold`.

    buds_sold: Told beside; no part of what is owed.
    counts: What the licence counts; null: the catalogue does not say.
    grafted: Grafts made, whatever became of them; regrafts too.
    owed: By `counts`: sold less returned (below zero when more came back), or grafted. Null:
      not known what counts.
    """

    buds_sold: int
    counts: Literal["grafted", "sold"] | None
    cultivar: str
    epithet: str | None
    grafted: int
    owed: int | None
    returned: int
    sold: int
    terms: str | None


class LineReport(Struct, kw_only=True, omit_defaults=True):
    """What became of one line of a file.

    became: recorded; known: recorded before, nothing was added; refused; would_be_recorded:
      of a check; not_recorded: nothing is wrong with it, but other lines were refused;
      skipped: nothing was filled in.
    event: Type of the event it became.
    faults: Why it was refused, and in which column.
    line: In the file; 1 is the header's.
    made: Codes of what was made or entered, by kind.
    with_line: The first line of the event that it is part of.
    """

    became: Literal["known", "not_recorded", "recorded", "refused", "skipped", "would_be_recorded"]
    event: str | None = None
    faults: list[CellFault] = field(default_factory=list)
    id: str | None = None
    line: int
    made: dict[str, list[str]] = field(default_factory=dict)
    position: int | None = None
    remarks: list[Remark] = field(default_factory=list)
    with_line: int | None = None


class LineToSell(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What is sold: trees of a lot or of an item, or buds out of a bag.

    Trees: name `lot`; or `cultivar`, `rootstock` and `size`, and the lots are chosen: ready
    trees that no hold stops and nobody else has reserved by lot, those ready longest first,
    one lot where one has enough. Buds: name `bag`; or `cultivar` and `buds`, and the bags
    are chosen, what was cut first before what keeps longer.

    buds: True: buds of the cultivar.
    count: Trees, or buds.
    place: Only from this place.
    """

    bag: str | None = None
    buds: bool = False
    count: int
    cultivar: str | None = None
    grade: str | None = None
    lot: str | None = None
    place: str | None = None
    rootstock: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None


class LinersDiscarded(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="liners.discarded",
    forbid_unknown_fields=True,
):
    """Liners were lost or thrown away (liners → lost)."""

    actor: str | None = None
    data: LinersDiscardedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class LinersDiscardedData(Struct, kw_only=True, omit_defaults=True):
    """Liners dead or thrown away.

    cause: Why plants were lost. `culled` is a choice, not a death.
    """

    cause: Literal[
        "breakage",
        "culled",
        "damaged",
        "dead_on_arrival",
        "dead_scion",
        "dead_stock",
        "disease",
        "drought",
        "frost",
        "girdled",
        "heat",
        "pest",
        "unknown",
        "waterlogging",
    ]
    count: int
    lot: str
    note: str | None = None
    place: str | None = None
    size: str | None = None


class LinersMoved(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="liners.moved",
    forbid_unknown_fields=True,
):
    """Liners were moved inside the site (place → place)."""

    actor: str | None = None
    data: LinersMovedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class LinersMovedData(Struct, kw_only=True, omit_defaults=True):
    """Liners carried to another place of the site. `count` left out: all that stand there.

    place: Where they stood.
    """

    count: int | None = None
    lot: str
    place: str | None = None
    size: str | None = None
    to: str


class LinersPotted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="liners.potted",
    forbid_unknown_fields=True,
):
    """Liners were potted on (size → size)."""

    actor: str | None = None
    data: LinersPottedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class LinersPottedData(Struct, kw_only=True, omit_defaults=True):
    """Liners potted on into another size. `count` left out: all that stand there.

    size: The size they had.
    to: Where they stand now; the same place when left out.
    """

    count: int | None = None
    lot: str
    place: str | None = None
    size: str | None = None
    to: str | None = None
    to_size: str


class LinersReceived(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="liners.received",
    forbid_unknown_fields=True,
):
    """Liners came in, or were raised from seed here (source → liners)."""

    actor: str | None = None
    data: LinersReceivedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class LinersReceivedData(Struct, kw_only=True, omit_defaults=True):
    """A liner lot: one rootstock, one size, one supplier, one day.

    basis: Whether the figure was counted, estimated or is a minimum. A bag or tray that was
      not counted may yield more than its figure; that is remarked, not refused.
    lot: Code of the liner lot. Minted when left out.
    """

    basis: Literal["at_least", "counted", "estimated"] = "counted"
    document: str | None = None
    lines: list[Standing]
    lot: str | None = None
    origin: Literal["received", "sown", "thinned"] = "received"
    rootstock: str
    seed_source: str | None = None
    size: str
    supplier: str | None = None


class Link(Struct, kw_only=True, omit_defaults=True):
    """What signs one device in, once: the address, or the code typed on the page /sign-in.

    code: Told here and never again.
    url: Told here and never again.
    """

    code: str
    code_ends_at: str
    ends_at: str
    url: str


class Linkset(Struct, kw_only=True, omit_defaults=True):
    """A set of links (RFC 9264 section 4.2)."""

    linkset: list[Api]


class LoadingLine(Struct, kw_only=True, omit_defaults=True):
    """So many to fetch."""

    bag: str | None
    count: int
    cultivar: str | None
    grade: str | None
    lot: str
    rootstock: str | None
    size: str | None


class LoadingStop(Struct, kw_only=True, omit_defaults=True):
    """A place to go to, with all that is fetched there."""

    count: int
    lines: list[LoadingLine]
    place: str
    structure: str | None


class LoggerNow(Struct, kw_only=True, omit_defaults=True):
    """A logger and the last 24 hours of it. Times carry the site's offset.

    newest_at: null: it never told anything.
    place: null: no place names it.
    range_c: null: it is not watched.
    range_is_usual: Common practice, without a source: the site has stated none of its own.
    silent: Longer than the site's norm.
    spells: Out of range, oldest first.
    stuck: The same to a hundredth for a day: look at it.
    """

    highest_c: float | None
    lowest_c: float | None
    newest_at: str | None
    newest_c: float | None
    place: str | None
    range_c: TemperatureRange | None
    range_is_usual: bool
    sensor: str
    silent: bool
    spells: list[Spell]
    structure: str | None
    stuck: bool
    where: Literal["bench", "cooler"]


class LossRow(Struct, kw_only=True, omit_defaults=True):
    """One group: how many of `commodity` were lost. Parts that were not grouped by are left
    out.

    commodity: Plants and buds never add up.
    culled: Plants thrown away by choice: no deaths.
    cultivar: Null for liners.
    day: By the site's calendar.
    dead: Plants that died.
    discarded: Buds that dried, spoilt or were thrown away.
    rootstock: Null for budwood.
    stage: Of trees, else `liners` or `budwood`; `not_told` for what was taken away at a push
      count.
    """

    cause: str | None = None
    commodity: Literal["buds", "plants"]
    culled: int
    cultivar: str | None = None
    day: str | None = None
    dead: int
    discarded: int
    lot: str | None = None
    month: str | None = None
    rootstock: str | None = None
    site: str | None = None
    stage: str | None = None
    year: str | None = None


class Lot(Struct, kw_only=True, omit_defaults=True):
    """A lot with its bags or places and its history, at the sites that the key sees.

    as_of: The day or time asked for; null: now.
    bags: Of a budwood lot.
    days: Where `as_of` is a time: the day at whose end each site is told of.
    history: All events about it, in order of occurrence.
    known_at: The log's position known then; null: all that is known now.
    places: Where liners or trees stand.
    """

    as_of: str | None
    bags: list[BagOnHand]
    days: dict[str, Day] | None
    gone: list[Gone]
    history: list[StoredEvent]
    known_at: int | None
    lot: LotSummary
    places: list[StandingNow]
    travelling: list[Travelling]


class LotSummary(Struct, kw_only=True, omit_defaults=True):
    """A lot and how much of it stands at the sites that the key sees.

    basis: How its figures came to be: counted or less sure.
    changed_position: Of its last change: its ETag.
    day: Of cutting, receipt or grafting.
    failed: Trees that stand with a dead scion.
    in_transit: On the way between sites.
    on_hand: Buds in bags, liners, or trees not failed.
    parents: What it was made of, such as bag:B-0107.
    position: A place in the log; the first event has 1.
    site: Where it was made or received.
    source: The original source, such as source_tree:NAV-3.
    """

    attempt: int
    basis: str
    changed_position: int
    code: str
    cultivar: str | None
    day: Day | None
    failed: int
    grown_for: str | None
    identified: bool
    in_transit: int
    kind: Literal["budwood", "liner", "tree"]
    method: str | None
    on_hand: int
    parents: list[str]
    position: int
    rootstock: str | None
    site: str
    source: str | None


class MadeCalendar(Struct, kw_only=True, omit_defaults=True):
    """A calendar with its address, which is told when it is made and never again.

    address: What a calendar program subscribes to. Who has it reads the calendar: treat it
      as a key. null for one that was made before.
    read_on: The newest day on which a calendar program asked for it.
    sites: `*` for every site that its owner sees.
    version: Its ETag.
    """

    address: str | None
    changed_at: str
    code: str
    language: Literal["en", "es"]
    made_at: str
    read_on: Day | None
    shows: list[Literal["bags", "checks", "orders"]]
    sites: list[str]
    version: int


class MadeWebhook(Struct, kw_only=True, omit_defaults=True):
    """A webhook just set. The secret of a new one is told here and never again.

    owner: The name of the keys that it sees with: of who set it last.
    secret: What its messages are signed with (Standard Webhooks); null unless it is new.
    stopped_because: Why it is stopped. by_hand: somebody did. gone: the receiver answered
      410. exhausted: a message did not arrive at any of ten attempts over three days.
      key_gone: no live key of the owner's name sees anything of its sites.
      secret_unreadable: the service lost the key that secrets are kept with; make a new
      secret.
    version: Its ETag.
    """

    changed_at: str
    changed_by: str
    code: str
    created_at: str
    cultivar: str | None
    note: str | None
    owner: str
    rootstock: str | None
    secret: str | None
    sites: list[str]
    size: str | None
    state: Literal["active", "stopped"]
    stopped_because: Literal["by_hand", "exhausted", "gone", "key_gone", "secret_unreadable"] | None
    types: list[str] | None
    url: str
    version: int


class Making(Struct, kw_only=True, omit_defaults=True):
    """What the buds of the bag at a site make by a method.

    buds: In the bag at the site.
    expected: To be expected: on the mean.
    ready_if_grafted_now: When nine in ten would be ready; null: beyond a look ahead.
    trees: Fit for sale in the end, as sure as asked.
    """

    buds: int
    buds_per_tree: int
    expected: int
    grafts: int
    method: str
    ready_if_grafted_now: Day | None
    share: ShareOfGrafts
    site: str
    trees: int
    words: str


class Mistake(Struct, kw_only=True, omit_defaults=True):
    """One thing wrong: where (`pointer` into the body, or a query `parameter`), its kind,
    words.

    `pointer` is a JSON Pointer (RFC 6901) in URI fragment form. `numbers` holds what a
    person needs to put it right, by name.
    """

    detail: str
    kind: str
    numbers: dict[str, Any] = field(default_factory=dict)
    parameter: str | None = None
    pointer: str | None = None


class Morning(Struct, kw_only=True, omit_defaults=True):
    """A site's morning round. What is not told here was not recorded, which never means `safe`.

    alerts: Others than those that the round tells itself.
    coming: Of the next seven days.
    done: Of today and yesterday.
    position: The log's position that the checks reflect.
    tables: Those to be looked at, the most urgent on top; tables in closed houses come last.
    """

    alerts: list[AlertsOpen]
    at: str
    bags: list[BagToUse]
    closed_houses: list[ClosedHouse]
    coming: list[ComingCheck]
    done: list[Done]
    frost: Frost
    grafting: GraftingAhead
    loggers: list[LoggerNow]
    position: int
    site: str
    site_name: str
    table_word: str
    tables: list[TableToSee]
    time_zone: str
    today: Day


class NewSecret(Struct, kw_only=True, omit_defaults=True):
    """A secret, told here and never again.

    old_until: Until then messages are signed with the old secret too.
    """

    old_until: str
    secret: str


class Observed(Struct, kw_only=True, omit_defaults=True):
    """Totals seen at a look; an observation that moves nothing."""

    dead: int | None = None
    failed: int | None = None
    pushed: int | None = None
    waiting: int | None = None


class Offered(Struct, kw_only=True, omit_defaults=True):
    """How many of an item can be reserved at a site: so many are accepted, and not one more.

    `available` holds today; `changes` are the days from which on it is another number. A
    number may fall as well as rise: what is promised for later is kept back, and trees may
    die unsold.

    goods: Whole trees, or buds of a cultivar.
    grade: null: of any grade.
    key: Names the row. The same as long as it is there.
    ready: How many stand ready today, promised ones among them: trees graded ready, or buds
      in bags, that are not held, not come back, and not grown for a customer. No more than
      these can go today, however many are available: the rest are foreseen to be ready, and
      nobody has graded them yet.
    rootstock: null: buds.
    site: null: trees of any site will do.
    size: null: buds.
    sure: How sure the numbers are: what is foretold with a probability, or `counted`:
      nothing is foretold of it, it is what is ready now, not held and not promised.
    """

    available: int
    changes: list[FromDay]
    cultivar: str
    goods: Literal["buds", "trees"]
    grade: str | None
    key: str
    name: str
    ready: int
    rootstock: str | None
    site: str | None
    size: str | None
    sure: str


class Onto(Struct, kw_only=True, omit_defaults=True):
    """What was grafted on: a liner lot, or a tree lot (an interstock).

    place: Where the stocks stood before grafting.
    stage: For a tree lot: the stage of the trees used.
    """

    liner_lot: str | None = None
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None
    tree_lot: str | None = None


class OpenedBudwood(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="budwood"):
    """A budwood lot in the cooler when the books were opened. Unknown parts stay out."""

    bags: list[BagFill]
    cultivar: str | None = None
    cut_on: str | None = None
    lot: str
    source_tree: str | None = None


class OpenedLiners(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="liners"):
    """Liners that stood there when the books were opened.

    basis: Whether the figure was counted, estimated or is a minimum. A bag or tray that was
      not counted may yield more than its figure; that is remarked, not refused.
    """

    basis: Literal["at_least", "counted", "estimated"] = "counted"
    count: int
    lot: str
    place: str
    rootstock: str | None = None
    size: str


class OpenedTrees(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="trees"):
    """Trees that stood there when the books were opened.

    method: Method of grafting or budding, in trade terms.
    """

    count: int
    cultivar: str | None = None
    grade: str | None = None
    grafted_on: str | None = None
    lot: str
    method: (
        Literal[
            "bark",
            "chip_bud",
            "cleft",
            "epicotyl",
            "four_flap",
            "inverted_t_bud",
            "micro_bud",
            "patch_bud",
            "side",
            "side_veneer",
            "softwood",
            "splice",
            "t_bud",
            "whip_and_tongue",
        ]
        | None
    ) = None
    place: str
    rootstock: str | None = None
    size: str
    stage: Literal["failed", "grafted", "pushed", "ready"]


class Option(Struct, kw_only=True, omit_defaults=True):
    """One way: at a site by a method. Figures are null where it can't be done in time.

    buds: To be cut, wasted ones too.
    buds_on_hand: At the site, not held, not given to open work orders, in bags that keep
      until the last day to graft (today, where there is none).
    expected: Trees to be expected of them in the end: on the mean.
    graft_by: The last day to graft.
    liners: To have, spare ones too.
    liners_on_hand: At the site, not held, not given to open work orders.
    ready_if_grafted_now: When nine in ten would be ready, as sure as asked.
    """

    buds: int | None
    buds_on_hand: int
    buds_short: int | None
    expected: int | None
    graft_by: Day | None
    grafts: int | None
    liners: int | None
    liners_on_hand: int
    liners_short: int | None
    method: str
    ready_if_grafted_now: Day | None
    share: ShareOfGrafts
    site: str
    words: str


class OrderOfTheDay(Struct, kw_only=True, omit_defaults=True):
    """An order with what was done of it that day, and what to take for the rest.

    done_that_day: Trees grafted for it on that day; by the grafter, if one is asked.
    without_bag: Trees that no bag has buds for.
    without_liners: Trees that no liner stands for.
    """

    done_that_day: int
    order: WorkOrderRow
    rows: list[ToGraft]
    without_bag: int
    without_liners: int


class OverrideHere(Struct, kw_only=True, omit_defaults=True):
    """Somebody's word that stands in place of the forecast on some days.

    grade: null: of any grade.
    quantity: So many are there by their word.
    site: null: of all sites together.
    """

    first: Day
    grade: str | None
    last: Day
    override: str
    quantity: int
    reason: str
    site: str | None


class PageOfAlertRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[AlertRow]
    next: str | None
    position: int


class PageOfCalendar(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[Calendar]
    next: str | None
    position: int


class PageOfCatalogueItem(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[CatalogueItem]
    next: str | None
    position: int


class PageOfContact(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[Contact]
    next: str | None
    position: int


class PageOfCropRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[CropRow]
    next: str | None
    position: int


class PageOfDelivery(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[Delivery]
    next: str | None
    position: int


class PageOfDevice(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[Device]
    next: str | None
    position: int


class PageOfGrowthRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[GrowthRow]
    next: str | None
    position: int


class PageOfHoldNow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[HoldNow]
    next: str | None
    position: int


class PageOfLearnedRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[LearnedRow]
    next: str | None
    position: int


class PageOfLossRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[LossRow]
    next: str | None
    position: int


class PageOfPersonShown(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[PersonShown]
    next: str | None
    position: int


class PageOfPrinting(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[Printing]
    next: str | None
    position: int


class PageOfPushCurveRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[PushCurveRow]
    next: str | None
    position: int


class PageOfPushRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[PushRow]
    next: str | None
    position: int


class PageOfPutRight(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[PutRight]
    next: str | None
    position: int


class PageOfReservationNow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[ReservationNow]
    next: str | None
    position: int


class PageOfSaleSummary(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[SaleSummary]
    next: str | None
    position: int


class PageOfTakeRateRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[TakeRateRow]
    next: str | None
    position: int


class PageOfTakeRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[TakeRow]
    next: str | None
    position: int


class PageOfWebhook(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[Webhook]
    next: str | None
    position: int


class PageOfWorkOrderRow(Struct, kw_only=True, omit_defaults=True):
    """A page of a list, in a fixed order."""

    items: list[WorkOrderRow]
    next: str | None
    position: int


class PapersPrinted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="papers.printed",
    forbid_unknown_fields=True,
):
    """Papers were printed (an intention: held, unregistered or uninspected stock is refused)."""

    actor: str | None = None
    data: PapersPrintedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class PapersPrintedData(Struct, kw_only=True, omit_defaults=True):
    """So many papers of one kind for one lot: of trees, or of budwood.

    Refused while a hold stops selling, for more than stand there or were sold, and, of
    passports and certified tags, without a registration and a current inspection. `happened`
    changes nothing: a paper is an intention.

    document: Number of the paper, if it has one.
    origin: Where the plants were grown. Left out: the site's country, of what was grafted or
      cut here; of what was bought in it must be said.
    paper: A tag with what a buyer asks; a plant passport; a tag of certified stock with the
      statement that the authority allows.
    place: Left out: wherever it stands at the site.
    printed: Filled in from the records, whatever was sent.
    """

    count: int
    customer: str | None = None
    document: str | None = None
    lot: str
    note: str | None = None
    order: str | None = None
    origin: str | None = None
    paper: Literal["certified_tag", "plant_passport", "sale_tag"]
    place: str | None = None
    printed: AsPrinted | None = None
    size: str | None = None


class PapersToPrint(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """So many papers of one kind for one lot. `happened` changes nothing: a paper can wait.

    count: How many papers.
    document: Number of the papers, if they have one.
    happened: True: it breaks a rule, and it has happened all the same.
    id: Set it to make a retry safe without an Idempotency-Key.
    occurred: Left out: now.
    origin: Left out: the country of the site that made the lot.
    paper: A tag with what a buyer asks; a plant passport; a tag of certified stock with the
      statement that the authority allows.
    place: Left out: wherever it stands.
    site: The site where it happened.
    """

    actor: str | None = None
    count: int
    customer: str | None = None
    document: str | None = None
    happened: bool = False
    id: str | None = None
    lot: str
    note: str | None = None
    occurred: str | None = None
    order: str | None = None
    origin: str | None = None
    paper: Literal["certified_tag", "plant_passport", "sale_tag"]
    place: str | None = None
    site: str
    size: str | None = None


class PassportForm(Struct, kw_only=True, omit_defaults=True):
    """How the nursery's plant passports are headed: it may issue them itself.

    title: The words at the head, as the authority asks: in the Union those of one of its
      languages and, if that is another, English after a stroke.
    union_flag: Whether the flag of the Union stands at the head, as Regulation (EU)
      2016/2031, Annex VII, asks of passports issued there.
    """

    title: str
    union_flag: bool


class PersonDetails(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What a person may do, where, and how they like things shown. Left out: as it was.

    language: The language of pages and mails: English or Spanish.
    length: Shown in millimetres or inches.
    role: A ready-made set of scopes. Left out of a new person: recorder.
    scopes: Scopes one by one, instead of a role.
    sites: Where they work. Left out of a new person: the sites that the key sees.
    temperature: Shown in degrees Celsius or Fahrenheit.
    """

    home_site: str | None = None
    language: Literal["en", "es"] | None = None
    length: Literal["in", "mm"] | None = None
    role: (
        Literal[
            "administrator", "auditor", "history", "monitor", "recorder", "sales", "site-manager"
        ]
        | None
    ) = None
    scopes: list[str] | None = None
    sites: list[str] | None = None
    temperature: Literal["c", "f"] | None = None


class PersonShown(Struct, kw_only=True, omit_defaults=True):
    """Who signs in. `role`: the ready-made role of the same scopes, if there is one.

    language: The language of pages and mails: English or Spanish.
    length: Shown in millimetres or inches.
    sites: Where they work; `*` for every site.
    temperature: Shown in degrees Celsius or Fahrenheit.
    version: Their ETag.
    """

    changed_at: str
    changed_by: str
    home_site: str | None
    language: Literal["en", "es"]
    length: Literal["in", "mm"]
    reference: str
    role: str | None
    scopes: list[str]
    sites: list[str]
    temperature: Literal["c", "f"]
    version: int


class Place(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="place"):
    """A table, bed, box or cooler in a named structure of a site.

    for_returns: True: kept apart, for trees that came back.
    sensors: Loggers that stand here, as readings name them. One in a cooler counts in no
      degree-days; one that no place names is taken to be at the benches.
    structure: The house it is in.
    """

    code: str
    for_returns: bool = False
    place_kind: Literal["bed", "box", "cooler", "table"] = "table"
    retired: bool = False
    sensors: list[str] = field(default_factory=list)
    site: str
    structure: str


class PlaceBody(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A table, bed, box or cooler in a named structure of a site.

    for_returns: True: kept apart, for trees that came back.
    sensors: Loggers that stand here, as readings name them. One in a cooler counts in no
      degree-days; one that no place names is taken to be at the benches.
    structure: The house it is in.
    """

    code: str | UnsetType = UNSET
    for_returns: bool = False
    kind: Literal["place"] | UnsetType = UNSET
    place_kind: Literal["bed", "box", "cooler", "table"] = "table"
    retired: bool = False
    sensors: list[str] = field(default_factory=list)
    site: str
    structure: str


class PlaceChecked(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="place.checked",
    forbid_unknown_fields=True,
):
    """A place was looked over (moves nothing)."""

    actor: str | None = None
    data: PlaceCheckedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class PlaceCheckedData(Struct, kw_only=True, omit_defaults=True):
    """Somebody looked at the whole table."""

    note: str | None = None
    place: str
    totals: Observed | None = None


class PlantHealth(Struct, kw_only=True, omit_defaults=True):
    """Who answers for plant health where the site is, and what it may print on its own papers.

    Entered by the nursery from the authority's own letters: data, never advice.

    authority: Whom to call when a quarantine pest is suspected; no person's name.
    country: By ISO 3166-1, two letters; stands before the registration number.
    inspected_on: Day of the last inspection that it passed.
    registration: The nursery's registration number, without the country.
    source: Where this is from, and as of when.
    valid_until: The last day on which papers may rest on it.
    """

    authority: str
    certified: CertifiedForm | None = None
    country: str | None = None
    inspected_on: str | None = None
    passport: PassportForm | None = None
    phone: str
    registration: str | None = None
    source: str | None = None
    valid_until: str | None = None


class Printing(Struct, kw_only=True, omit_defaults=True):
    """So many papers of one kind, printed for one lot. `id` and `position` are null where it
    was only judged.

    id: UUID of the printing's event.
    number: Stands on each paper, with its running number, so that a copy shows.
    paper: A tag with what a buyer asks; a plant passport; a tag of certified stock with the
      statement that the authority allows.
    printed: What the papers say.
    voided_by: Position of the event that voided it, if any.
    """

    actor: str | None
    count: int
    customer: str | None
    document: str | None
    id: str | None
    lot: str
    note: str | None
    number: str | None
    occurred: str
    order: str | None
    paper: Literal["certified_tag", "plant_passport", "sale_tag"]
    place: str | None
    position: int | None
    printed: AsPrinted
    recorded_at: str | None
    recorded_by: str | None
    site: str
    size: str | None
    voided_by: int | None


class ProblemDocument(Struct, kw_only=True, omit_defaults=True):
    """A problem document (RFC 9457). Programs go by `type` and `errors[].kind`, not by words."""

    detail: str | None = None
    errors: list[Mistake] = field(default_factory=list)
    instance: str | None = None
    request_id: str | None = None
    status: int
    title: str
    type: str


class ProblemKind(Struct, kw_only=True, omit_defaults=True):
    """A kind of problem and what to do about it."""

    advice: str
    status: int
    title: str
    type: str


class Progress(Struct, kw_only=True, omit_defaults=True):
    """How far a webhook has come.

    attempts: How often the message at hand has failed.
    head: The log's newest position.
    next_at: It is not tried again before.
    position: Events up to here were told or passed over.
    stopped_because: Why it is stopped. by_hand: somebody did. gone: the receiver answered
      410. exhausted: a message did not arrive at any of ten attempts over three days.
      key_gone: no live key of the owner's name sees anything of its sites.
      secret_unreadable: the service lost the key that secrets are kept with; make a new
      secret.
    told_at: When a message last arrived.
    """

    attempts: int
    code: str
    failing_since: str | None
    head: int
    next_at: str | None
    position: int
    state: Literal["active", "stopped"]
    stopped_because: Literal["by_hand", "exhausted", "gone", "key_gone", "secret_unreadable"] | None
    told_at: str | None


class PromiseOverridden(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="promise.overridden",
    forbid_unknown_fields=True,
):
    """What may be promised of an item was said by hand (an intention: bad days are refused)."""

    actor: str | None = None
    data: PromiseOverriddenData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class PromiseOverriddenData(Struct, kw_only=True, omit_defaults=True):
    """So many of an item may be promised for the days named, in the place of the forecast.

    any_site: True: of all sites together; else of the acting site's.
    from_: The first day that may be asked for. Left out: the day it occurred.
    grade: Left out: trees of any grade.
    override: Code of the override. Minted when left out.
    quantity: How many in all. What is promised for those days already, and what goes out
      from now on, is taken off it.
    until: The last day that may be asked for; after it the forecast counts again.
    """

    any_site: bool = False
    cultivar: str
    from_: str | None = field(default=None, name="from")
    grade: str | None = None
    override: str | None = None
    quantity: int
    reason: str
    rootstock: str
    size: str
    until: str


class PromiseOverrideEnded(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="promise.override_ended",
    forbid_unknown_fields=True,
):
    """An override of a promise was ended."""

    actor: str | None = None
    data: PromiseOverrideEndedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class PromiseOverrideEndedData(Struct, kw_only=True, omit_defaults=True):
    """From now on the forecast counts again. What was promised meanwhile stays promised."""

    override: str
    reason: str


class PromiseRow(Struct, kw_only=True, omit_defaults=True):
    """How many of an item can be promised for a day: an estimate, and how wide it is.

    `words` say it in a sentence, `reasons` what it rests on; all else is for programs.
    `can_be_promised` is there on that day with the probability `confidence`, less what is
    promised already, and leaves what is promised for later days. A day between two that are
    told counts as the earlier one, a confidence between two as the surer one.

    earliest: First day for all of it; null: none asked, or not in sight.
    enough: Whether that many can be promised.
    expected: Expected on that day, promised ones too.
    for_customers: Beside all these, grown for a customer: in no promise.
    grade: null: of any grade.
    growing: Of the cultivar on the rootstock, for anybody, not ready: any size, held ones
      too.
    held_now: Ready and held today: in no promise.
    on_the_way: Ready, on the way to the site: it may promise them.
    others: The same at other confidences.
    override: In force on that day.
    promised: Promised for any day.
    promised_by: Promised for that day and earlier ones.
    quantity: As asked.
    ready_now: Ready today, not held, for anybody; promised or not.
    site: null: of all sites together.
    """

    basis: Basis
    can_be_promised: int
    confidence: float
    cultivar: str
    date: Day
    earliest: Day | None
    enough: bool | None
    expected: float
    for_customers: int
    grade: str | None
    growing: int
    held_now: int
    on_the_way: int
    others: list[AtConfidence]
    override: OverrideHere | None
    promised: int
    promised_by: int
    quantity: int | None
    ready_now: int
    reasons: list[str]
    risk: Risk
    rootstock: str
    site: str | None
    size: str
    sure: str
    words: str


class Promises(Struct, kw_only=True, omit_defaults=True):
    """What can be promised, at each site and at all together.

    position: The log's position that reservations and stock are reflected at.
    """

    items: list[PromiseRow]
    position: int


class Provenance(Struct, kw_only=True, omit_defaults=True):
    """Where trees or buds of a lot come from.

    For a plant passport: `botanical_name` is its part A, `lot` the traceability code of part
    C. Registration number and country of origin are the nursery's to add.

    attempt: 2: the stocks were grafted again, and so on.
    documents: Passports, certificates and permits that came with wood, liners, trees.
    grafted_on: The first day, if there were several.
    grafted_until: The last day of grafting.
    identified: False: a label was lost.
    interstocks: The topmost first.
    may_be_of: Lots that unidentified trees may be of.
    regraft_of: The lot whose scions had failed on these stocks.
    unknown: What a passport or invoice may ask and nobody told.
    wood: Of the scion that grows, or of the buds sold.
    """

    attempt: int
    botanical_name: str | None
    bought_in: BoughtIn | None
    clone: str | None
    cultivar: str | None
    documents: list[str]
    epithet: str | None
    grafted_on: Day | None
    grafted_until: Day | None
    identified: bool
    interstocks: list[Interstock]
    licence_holder: str | None
    lot: str
    may_be_of: list[str]
    method: str | None
    regraft_of: str | None
    rootstock: str | None
    rootstock_name: str | None
    stocks: Stocks | None
    unknown: list[str]
    wood: Wood | None


class PushCounted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="push.counted",
    forbid_unknown_fields=True,
):
    """The table was walked and what stands was counted (book → counted, differences →
    variance).
    """

    actor: str | None = None
    data: PushCountedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class PushCountedData(Struct, kw_only=True, omit_defaults=True):
    """What stands at one place of one lot. Trees already graded `ready` are not part of it.

    Say at least one of pushed, waiting, failed, unclear and removed. `failed` left out means
    that the failed were not counted: they stay as the book has them. The others left out
    mean none.

    failed: Scion dead, stock alive.
    removed: Taken away dead.
    unclear: Could not be told; kept among the waiting.
    waiting: Alive or unknown, not pushed yet.
    """

    book: BookedStanding | None = None
    failed: int | None = None
    lot: str
    place: str | None = None
    pushed: int | None = None
    removed: list[Removed] = field(default_factory=list)
    size: str | None = None
    unclear: int | None = None
    waiting: int | None = None


class PushCurvePoint(Struct, kw_only=True, omit_defaults=True):
    """By `degree_days` (Cd) a `share` of the grafts had pushed as counted, `fitted` as fitted."""

    degree_days: float
    fitted: float | None
    share: float


class PushCurveRow(Struct, kw_only=True, omit_defaults=True):
    """How the share of grafts that have pushed rises with the heat: an estimate.

    `points`: of the non-parametric estimate of Turnbull (1976), which assumes no form. A
    count tells only that trees pushed since the one before, so the share is known at these
    degree-days, and between two of them it is not known where it rises; it ends where hardly
    any were still watched. `fitted` is what the forecast goes by, null where nothing was
    fitted to this clock: where the two part, trust the counts. Degree-days are counted
    `since` the grafting (or the end of the rest of buds set in summer) or the forcing, as
    `counting` says. Of `trees` in `lots` so many are known to have `pushed`. So many
    `failed` or were `lost` first: they count as not pushed while they were seen, and are in
    `trees` where somebody saw them waiting. Shares are from 0 to 1. Over all sites that
    count so.
    """

    counting: str
    crop: str
    failed: int
    lost: int
    lots: int
    made_at: str
    method: str
    points: list[PushCurvePoint]
    position: int
    pushed: int
    since: Literal["forcing", "grafting"]
    trees: int
    words: str


class PushRow(Struct, kw_only=True, omit_defaults=True):
    """So many trees of a lot that went the same way between the same days at one place.

    Days are calendar days of the site, numbers of days whole days from the day of grafting:
    summer time changes neither. A tree of outcome `pushed` did so after the end of
    `after_day` and by the end of `by_day`.

    after_day: Last day on which they were counted as not pushed, else the day of grafting.
      Null where neither is known (left-censored).
    after_days: `after_day` in days from grafting.
    by_day: Day on which the outcome was seen.
    by_days: `by_day` in days from grafting.
    cause: Of `lost`: the cause. Of `gone`: sold, regrafted, grafted_onto, label_lost,
      not_found.
    outcome: `pushed`: interval-censored. `waiting`: not pushed at the end of `after_day`
      (right-censored). `failed` (scion dead), `lost`: found so on `by_day` before any push.
      `gone`: left unpushed (right-censored).
    place: Where they waited; the consignment while on the way.
    seen_before: False: nobody counted them before, so they may have pushed long ago.
    """

    after_day: Day | None
    after_days: int | None
    attempt: int
    by_day: Day | None
    by_days: int | None
    cause: str | None
    crop: str | None
    cultivar: str | None
    grafted_on: Day | None
    lot: str
    method: str | None
    outcome: Literal["failed", "gone", "lost", "pushed", "waiting"]
    place: str
    rootstock: str | None
    seen_before: bool
    site: str
    trees: int


class PutRight(Struct, kw_only=True, omit_defaults=True):
    """Something a person recorded and the log refused, kept as it came.

    attempts: How often it was sent.
    event_id: Null for what has no readable id, or another event's.
    last_by: Who tried last to have it recorded.
    principal: Who sent it first.
    raw: What was sent last; bytes that are not UTF-8 are replaced.
    reasons: Why it was refused.
    resolved_by: Who sent what was recorded, or discarded it.
    resolved_position: Where the event that put it right is in the log.
    site: The site that it names.
    state: open until an event of its id is recorded, or somebody discards it.
    """

    attempts: int
    discard_reason: str | None
    event_id: str | None
    first_at: str
    id: int
    last_at: str
    last_by: str
    principal: str
    raw: str
    reasons: list[dict[str, Any]]
    resolved_at: str | None
    resolved_by: str | None
    resolved_position: int | None
    site: str | None
    state: Literal["discarded", "open", "recorded"]


class PutRightWhole(Struct, kw_only=True, omit_defaults=True):
    """An item with all that was sent for it, and what would settle it.

    attempts: How often it was sent.
    earlier: Sent before, oldest first.
    event_id: Null for what has no readable id, or another event's.
    last_by: Who tried last to have it recorded.
    principal: Who sent it first.
    raw: What was sent last; bytes that are not UTF-8 are replaced.
    raw_base64: The bytes as they came, where they are not UTF-8; else null.
    recorded_event: Id of the event that put it right, if any.
    resolved_by: Who sent what was recorded, or discarded it.
    resolved_position: Where the event that put it right is in the log.
    site: The site that it names.
    state: open until an event of its id is recorded, or somebody discards it.
    """

    attempts: int
    discard_reason: str | None
    earlier: list[EarlierSending]
    event_id: str | None
    first_at: str
    id: int
    last_at: str
    last_by: str
    principal: str
    raw: str
    raw_base64: str | None
    reasons: list[RefusalReason]
    recorded_event: str | None
    resolved_at: str | None
    resolved_by: str | None
    resolved_position: int | None
    site: str | None
    state: Literal["discarded", "open", "recorded"]


class Reading(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What a logger read. A null temperature withdraws the reading of that moment.

    celsius: Degrees Celsius; kept to 0.01. What no air at a bench can be (a logger's sign of
      a fault) is kept, reported and never counted.
    sensor: The logger or probe that measured, as the nursery calls it.
    time: With the offset that the site's clocks had then (RFC 3339).
    """

    celsius: float | None
    sensor: str
    time: Moment


class ReadingDay(Struct, kw_only=True, omit_defaults=True):
    """How much of a day was read.

    `hours` of `hours_of_day` (23 or 25 when the clocks change) have a reading of some
    sensor. `counted_by` says what a site that counts by hours takes of the day: the sum of
    its hours when at most four are missing; else the sine of the daily record; else, without
    one, the sine of the range of the readings, if each quarter of the day was seen; else
    nothing.
    """

    counted_by: Literal["daily_record", "hourly_sum", "nothing", "range_of_readings"]
    day: Day
    hours: int
    hours_of_day: int
    sensors: list[SensorDay]


class ReadingGap(Struct, kw_only=True, omit_defaults=True):
    """A sensor was silent for more than an hour and a half between two readings."""

    after: str
    before: str
    hours: float
    sensor: str


class ReadingsPost(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Readings to record or to correct; those not named stay as they are."""

    readings: list[Reading]


class ReadingsRecord(Struct, kw_only=True, omit_defaults=True):
    """A site's logger readings by day, and what is doubtful among them (the first 1,000)."""

    days: list[ReadingDay]
    doubts: list[Doubt]
    first: Day
    last: Day
    site: str
    version: int


class ReadingsReport(Struct, kw_only=True, omit_defaults=True):
    """What a change did, and what is to be looked at in the stretch of time that it lies in.

    first: The earliest reading sent.
    last: The latest reading sent.
    more: Gaps and doubts beyond the first 100 of each.
    version: Of the readings; the same when nothing changed.
    """

    doubts: list[Doubt]
    first: str
    gaps: list[ReadingGap]
    last: str
    more: int
    readings_unchanged: int
    readings_written: int
    version: int


class ReadyCount(Struct, kw_only=True, omit_defaults=True):
    """By the end of `day` so many are ready and free: at least `sure_9_in_10` with probability
    0.9 and so on, `expected` on average.
    """

    day: Day
    expected: float
    sure_5_in_10: int
    sure_8_in_10: int
    sure_9_in_10: int


class ReadyCountRow(Struct, kw_only=True, omit_defaults=True):
    """How many of an item will be ready by which day: an estimate, and how wide it is.

    `site` null: all sites together, drawn jointly; `grade` null: of any. Growing trees,
    those that are ready already, and deaths to be expected are in; held trees and trees
    grown for a customer are not, and sales and reservations after `position` are not taken
    off. It rests on `trees`.
    """

    as_of: Day
    counts: list[ReadyCount]
    cultivar: str
    grade: str | None
    made_at: str
    position: int
    rootstock: str
    site: str | None
    size: str
    trees: int
    words: str


class ReadyDateRow(Struct, kw_only=True, omit_defaults=True):
    """When the trees of a lot at a site should be ready: an estimate, and how wide it is.

    `words` say it in a sentence, `reasons` what it rests on; all else is for programs.
    `p20`, `p50`, `p80`: half of the trees that will be fit for sale are ready by then with
    probability 0.2, 0.5, 0.8; null where it cannot be told, `why` then says the reason. A
    day before `as_of` (the site's day on which it was told) means that trees wait to be
    graded. `ready_expected` of `trees` will be ready, `ready_low` to `ready_high` with
    probability 0.6; null where it cannot be told. `counted` degree-days (Cd) from the day
    after `counted_from` (`phase`: of the lot's grafting, or of its middle push) to the end
    of the day before `as_of`, of `needed` (`needed_low` to `needed_high` with probability
    0.6), in the way `counting` between `lower_c` and `upper_c` (degrees Celsius); `gap_days`
    of them were filled. It rests on `based_on_trees` in `based_on_lots`, `fallback` says
    where it borrows, and on `years` of weather. `position` is that of the log,
    `temperature_version` that of the site's record, that it reflects.
    """

    as_of: Day
    based_on_lots: int
    based_on_trees: int
    counted: float | None
    counted_from: Day | None
    counting: str | None
    crop: str | None
    cultivar: str | None
    fallback: str | None
    gap_days: int
    grafted_on: Day | None
    lot: str
    lower_c: float | None
    made_at: str
    method: str | None
    needed: float | None
    needed_high: float | None
    needed_low: float | None
    p20: Day | None
    p50: Day | None
    p80: Day | None
    phase: str
    places: list[str]
    position: int
    ready_expected: float | None
    ready_high: int | None
    ready_low: int | None
    reasons: list[str]
    remarks: list[str]
    rootstock: str | None
    site: str
    sizes: list[str]
    temperature_version: int
    trees: int
    upper_c: float | None
    weather_ahead: str | None
    why: str | None
    words: str
    years: int


class ReceivedLine(Struct, kw_only=True, omit_defaults=True):
    """What arrived of one line: alive to a place, dead on arrival; the rest is short or
    surplus.

    count: Arrived alive and put down here.
    dead: Arrived dead or damaged beyond use.
    place: Where it was put down.
    sent: In transit by the book; filled by the log.
    """

    bag: str | None = None
    count: int
    dead: int = 0
    grade: str | None = None
    lot: str | None = None
    place: str
    sent: int | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None


class RecordGap(Struct, kw_only=True, omit_defaults=True):
    """Days between the first and the last of the record that it lacks, both ends included."""

    days: int
    from_: Day = field(name="from")
    to: Day


class Recorded(Struct, kw_only=True, omit_defaults=True):
    """The log's answer: a verdict for each event, in the order of the request.

    position: The log's newest position at the time.
    """

    position: int
    verdicts: list[Verdict]


class RefusalReason(Struct, kw_only=True, omit_defaults=True):
    """One reason for a refusal, with what would settle it.

    detail: The reason in words.
    numbers: What a person needs to put it right, by name.
    pointer: Where in what was sent: a JSON Pointer (RFC 6901) as a fragment.
    settled_by: What a person can do about it.
    """

    detail: str
    kind: str
    numbers: dict[str, Any]
    pointer: str
    settled_by: str


class Release(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """It is given free."""

    reason: str


class Remark(Struct, kw_only=True, omit_defaults=True):
    """Something worth saying of an accepted event; some kinds raise an alert."""

    detail: str
    kind: str
    numbers: dict[str, Any] = field(default_factory=dict)


class RemindOn(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Be quiet about it until a day.

    on: The day to be reminded.
    """

    actor: str | None = None
    on: str


class Removed(Struct, kw_only=True, omit_defaults=True):
    """Trees taken away dead, and why.

    cause: Why plants were lost. `culled` is a choice, not a death.
    """

    cause: Literal[
        "breakage",
        "culled",
        "damaged",
        "dead_on_arrival",
        "dead_scion",
        "dead_stock",
        "disease",
        "drought",
        "frost",
        "girdled",
        "heat",
        "pest",
        "unknown",
        "waterlogging",
    ]
    count: int


class ReplaceSecret(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """How a secret is replaced.

    overlap_hours: How long messages are signed with the old secret too. 0: it is known to
      others, and no longer used.
    """

    overlap_hours: int = 24


class Replay(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """From where it goes on.

    position: What was recorded after this position of the log is told, once more if it was
      told before. A later one leaves out what is before it.
    """

    position: int


class ReservationAnswer(Struct, kw_only=True, omit_defaults=True):
    """A reservation as it stands after a request, with what was remarked of that.

    changed_position: The position of its last change: its ETag says it.
    confirmed_on: null: not confirmed.
    expires_at: null: it does not expire.
    needed_by: null: as soon as may be.
    position: A place in the log; the first event has 1.
    remarks: `numbers.line` is a line of this reservation, as `lines` number them;
      `less_promised` also says which line of the request it speaks of, `asked_line` (from 0
      on): where nothing could be promised that one was left out, its `line` is null, and the
      lines after it moved up.
    site: The site that acts for it.
    state: open: it binds. expired: its time has come, nothing of it is held any more.
      fulfilled: all of it was handed over. released: what was open was given free.
    """

    any_site: bool
    changed_position: int
    code: str
    confirmed_on: Day | None
    customer: str
    destination: list[str]
    expires_at: str | None
    lines: list[ReservedLineNow]
    made_day: Day
    needed_by: Day | None
    order: str | None
    position: int
    remarks: list[Remark]
    site: str
    state: Literal["expired", "fulfilled", "open", "released"]


class ReservationChanged(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="reservation.changed",
    forbid_unknown_fields=True,
):
    """A reservation was changed (an intention, judged like a new one)."""

    actor: str | None = None
    data: ReservationChangedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ReservationChangedData(Struct, kw_only=True, omit_defaults=True):
    """New lines, date, expiry or destination of a reservation; what is left out stays.

    cleared: What it has no more.
    destination: All that the place lies in, as far as it is known: the country or its part,
      and regulated areas.
    order: The customer's order that it is for.
    """

    cleared: list[Literal["destination", "expires_at", "needed_by", "order"]] = field(
        default_factory=list
    )
    destination: list[str] | None = None
    expires_at: str | None = None
    lines: list[ReservedLine] | None = None
    needed_by: str | None = None
    order: str | None = None
    reservation: str


class ReservationConfirmed(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="reservation.confirmed",
    forbid_unknown_fields=True,
):
    """A reservation was confirmed (an intention: one that had expired is judged like a new
    one).
    """

    actor: str | None = None
    data: ReservationConfirmedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ReservationConfirmedData(Struct, kw_only=True, omit_defaults=True):
    """The customer has ordered: the claim expires no more.

    order: The customer's order that it is for.
    """

    order: str | None = None
    reservation: str


class ReservationExpired(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="reservation.expired",
    forbid_unknown_fields=True,
):
    """A reservation was seen to have expired (recorded by the service; it bound no more
    before).
    """

    actor: str | None = None
    data: ReservationExpiredData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ReservationExpiredData(Struct, kw_only=True, omit_defaults=True):
    """The claim counts no more, since its expiry has come. It may be taken up again."""

    reservation: str


class ReservationMade(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="reservation.made",
    forbid_unknown_fields=True,
):
    """A customer reserved (an intention: refused when it can't be covered)."""

    actor: str | None = None
    data: ReservationMadeData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ReservationMadeData(Struct, kw_only=True, omit_defaults=True):
    """A claim for a customer, by a date.

    any_site: True: trees of any site will do.
    destination: Where they are to go: every region that place lies in.
    expires_at: From when the claim no longer counts. Left out: never.
    needed_by: The day they are wanted.
    order: The customer's order that it is for.
    partial: True: what can be promised is, and no more; a line of which nothing can be is
      left out. False: all of it, or it is refused.
    """

    any_site: bool = False
    customer: str
    destination: list[str] | None = None
    expires_at: str | None = None
    lines: list[ReservedLine]
    needed_by: str | None = None
    order: str | None = None
    partial: bool = False
    reservation: str | None = None


class ReservationNow(Struct, kw_only=True, omit_defaults=True):
    """A reservation as it stands.

    changed_position: The position of its last change: its ETag says it.
    confirmed_on: null: not confirmed.
    expires_at: null: it does not expire.
    needed_by: null: as soon as may be.
    position: A place in the log; the first event has 1.
    site: The site that acts for it.
    state: open: it binds. expired: its time has come, nothing of it is held any more.
      fulfilled: all of it was handed over. released: what was open was given free.
    """

    any_site: bool
    changed_position: int
    code: str
    confirmed_on: Day | None
    customer: str
    destination: list[str]
    expires_at: str | None
    lines: list[ReservedLineNow]
    made_day: Day
    needed_by: Day | None
    order: str | None
    position: int
    site: str
    state: Literal["expired", "fulfilled", "open", "released"]


class ReservationPatch(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What is to be otherwise (RFC 7396): what is left out stays, null is no more.

    destination: Where they are to go; judged like a new one's. null: not known.
    expires_at: From when the claim no longer counts; of a day alone, from its end at the
      site. null: never.
    lines: What is still wanted from now on, all of it; what was handed over already is no
      part of it.
    needed_by: The day they are wanted; null: now.
    order: The customer's order that it is for.
    """

    destination: list[str] | UnsetType | None = UNSET
    expires_at: str | UnsetType | None = UNSET
    lines: list[ReservedLine] | UnsetType = UNSET
    needed_by: str | UnsetType | None = UNSET
    order: str | UnsetType | None = UNSET


class ReservationReleased(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="reservation.released",
    forbid_unknown_fields=True,
):
    """A reservation was released."""

    actor: str | None = None
    data: ReservationReleasedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ReservationReleasedData(Struct, kw_only=True, omit_defaults=True):
    """What was still open of a reservation is given free."""

    reason: str
    reservation: str


class Reserve(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What is to be promised to whom, by when.

    any_site: true: trees of any site will do.
    destination: Where they are to go: every region that place lies in. What a rule of the
      nursery forbids is refused; where none says yes, a remark says to ask.
    expires_at: From when the claim no longer counts; of a day alone, from its end at the
      site. Left out: never.
    needed_by: The day they are wanted. Left out: now.
    order: The customer's order that it is for.
    partial: true: fewer will do; each line says what was promised.
    reservation: Its code. Left out: one is minted.
    site: The site that acts: trees of its own, unless `any_site` is true.
    """

    any_site: bool = False
    customer: str
    destination: list[str] | None = None
    expires_at: str | None = None
    lines: list[ReservedLine]
    needed_by: str | None = None
    order: str | None = None
    partial: bool = False
    reservation: str | None = None
    site: str


class ReservedLine(Struct, kw_only=True, omit_defaults=True):
    """A claim on an item (cultivar, rootstock, size, grade), on buds of a cultivar, or on a
    lot.

    Name either `cultivar` with `rootstock` and `size`, or `cultivar` with `buds` true, or
    `lot`.

    asked: Filled by the log where less was promised than was asked.
    """

    asked: int | None = None
    buds: bool = False
    count: int
    cultivar: str | None = None
    grade: str | None = None
    lot: str | None = None
    rootstock: str | None = None
    size: str | None = None


class ReservedLineNow(Struct, kw_only=True, omit_defaults=True):
    """A line of a reservation: what was asked, and what has become of it.

    asked: How many the customer asked for.
    fulfilled: How many were handed over.
    grade: null: any grade.
    item: cultivar/rootstock/size/grade, or buds/cultivar.
    line: Its number, from 0 on.
    lot: The one lot it is of; null: any.
    open: How many are still to be handed over; of one that has expired, how many would be if
      it were taken up again.
    promised: How many of them were promised.
    site: null: trees of any site.
    """

    asked: int
    buds: bool
    cultivar: str | None
    fulfilled: int
    grade: str | None
    item: str
    line: int
    lot: str | None
    open: int
    promised: int
    rootstock: str | None
    site: str | None
    size: str | None


class Return(Struct, kw_only=True, omit_defaults=True):
    """Trees that came back, and where they stand now. They can be sold again once moved away.

    id: UUID of the return's event.
    """

    count: int
    customer: str
    id: str
    lines: list[ReturnedLine]
    occurred: str
    order: str | None
    position: int
    reason: str
    recorded_at: str
    site: str


class ReturnToTake(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Trees that came back: only what this customer was sold of a lot at this site can.

    happened: True: it breaks a rule, and it has happened all the same.
    id: Set it to make a retry safe without an Idempotency-Key.
    occurred: Left out: now.
    site: The site where it happened.
    """

    actor: str | None = None
    customer: str
    happened: bool = False
    id: str | None = None
    lines: list[ReturnedLine]
    occurred: str | None = None
    order: str | None = None
    reason: str
    site: str


class ReturnedLine(Struct, kw_only=True, omit_defaults=True):
    """Trees that came back, to a place kept for returns.

    place: Left out: the site's only place for returns.
    size: Left out: the one size that the lot was ready in here.
    """

    count: int
    grade: str | None = None
    lot: str
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] = "ready"


class Risk(Struct, kw_only=True, omit_defaults=True):
    """The risk that what is promised already will not be there, on the worst day.

    day: The worst day; null: nothing is promised.
    probability: Above one half it is a rougher guess than below.
    promised: Promised for that day and earlier ones.
    short_by: How many are short then at the confidence asked; 0: none.
    """

    day: Day | None
    probability: float
    promised: int
    short_by: int


class Rootstock(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="rootstock"):
    """What it is grafted on.

    crop: A short lower-case word.
    """

    code: str
    crop: str
    name: str
    retired: bool = False


class RootstockBody(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What it is grafted on.

    crop: A short lower-case word.
    """

    code: str | UnsetType = UNSET
    crop: str
    kind: Literal["rootstock"] | UnsetType = UNSET
    name: str
    retired: bool = False


class Rule(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="rule"):
    """A norm or legal clock as data: value, where it is from, and as of when. Never advice.

    degree_days: Counts a crop's degree-days so, while the rule is not retired.
    destination: Says what may be sent where, from `as_of` on, while not retired.
    """

    as_of: str
    code: str
    degree_days: CropDegreeDays | None = None
    destination: DestinationRule | None = None
    retired: bool = False
    source: str
    title: str
    value: str


class RuleBody(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A norm or legal clock as data: value, where it is from, and as of when. Never advice.

    degree_days: Counts a crop's degree-days so, while the rule is not retired.
    destination: Says what may be sent where, from `as_of` on, while not retired.
    """

    as_of: str
    code: str | UnsetType = UNSET
    degree_days: CropDegreeDays | None = None
    destination: DestinationRule | None = None
    kind: Literal["rule"] | UnsetType = UNSET
    retired: bool = False
    source: str
    title: str
    value: str


class Sale(Struct, kw_only=True, omit_defaults=True):
    """One sale, with provenance for invoice and plant passport, and the list to load by.

    count: Trees, or buds.
    destination: null: none said, so it goes where its reservation is to.
    fulfils: How much of which reserved line.
    id: UUID of the sale's event.
    left: Of the reservation, now; null: none, or not one that the key sees.
    loading: By structure and place, in the order of their names.
    voided_by: Position of the event that voided it, if any.
    """

    count: int
    customer: str
    destination: list[str] | None
    document: str | None
    fulfils: list[Fulfilled]
    goods: Literal["buds", "trees"]
    id: str | None
    left: list[LeftLine] | None
    lines: list[SaleLine]
    loading: list[LoadingStop]
    occurred: str
    order: str | None
    position: int | None
    recorded_at: str | None
    recorded_by: str | None
    remarks: list[dict[str, Any]]
    reservation: str | None
    site: str
    voided_by: int | None


class SaleLine(Struct, kw_only=True, omit_defaults=True):
    """Trees of one lot from one place, or buds out of one bag, and where they come from.

    structure: The house of the place.
    """

    bag: str | None
    count: int
    grade: str | None
    lot: str
    place: str
    provenance: Provenance
    size: str | None
    stage: str | None
    structure: str | None


class SaleSummary(Struct, kw_only=True, omit_defaults=True):
    """A sale in a list.

    count: Trees, or buds.
    destination: null: none said, so it goes where its reservation is to.
    id: UUID of the sale's event.
    voided_by: Position of the event that voided it, if any.
    """

    count: int
    customer: str
    destination: list[str] | None
    document: str | None
    goods: Literal["buds", "trees"]
    id: str | None
    lots: list[str]
    occurred: str
    order: str | None
    position: int | None
    recorded_at: str | None
    recorded_by: str | None
    reservation: str | None
    site: str
    voided_by: int | None


class SaleToMake(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A sale: all trees, or all buds.

    destination: Every region the place lies in. Left out: the reservation's.
    document: Plant passport, certificate or permit.
    happened: True: it breaks a rule, and it has happened all the same.
    id: Set it to make a retry safe without an Idempotency-Key.
    lines: Left out: all that is left open of the reservation at the site.
    occurred: Left out: now.
    order: The order's number.
    reservation: The reservation that this fulfils.
    site: The site where it happened.
    """

    actor: str | None = None
    customer: str
    destination: list[str] | None = None
    document: str | None = None
    happened: bool = False
    id: str | None = None
    lines: list[LineToSell] | None = None
    occurred: str | None = None
    order: str | None = None
    reservation: str | None = None
    site: str


class ScionsPrepared(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="scions.prepared",
    forbid_unknown_fields=True,
):
    """Scion pieces were cut and wrapped ahead (buds: bag → bag of pieces, waste → discarded)."""

    actor: str | None = None
    data: ScionsPreparedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ScionsPreparedData(Struct, kw_only=True, omit_defaults=True):
    """Pieces cut and wrapped beforehand, kept in a labelled bag of their own.

    bag: The bag the wood came out of.
    buds_per_piece: Buds on a piece; the site's norm when left out.
    into: Code of the bag of pieces. Minted when left out.
    length_mm: Length of a piece.
    lot: The bag's budwood lot; filled by the log.
    pieces: Scion pieces made.
    to: Where the pieces lie. Left out: where the bag lay.
    waste: Buds lost in cutting: blind, tip, base.
    wrap: What they were wrapped in.
    """

    bag: str
    buds_per_piece: int | None = None
    into: str | None = None
    length_mm: int | None = None
    lot: str | None = None
    pieces: int
    place: str | None = None
    to: str | None = None
    waste: int = 0
    wrap: str | None = None


class Sending(Struct, kw_only=True, omit_defaults=True):
    """What the rules say of sending goods somewhere. No advice: the source decides, not this.

    answer: Whether a thing may be sent somewhere by a rule that was written down. No advice:
      who answers for plant health there decides, and `ask_authority` says to ask.
    as_of: As of when the rule is told.
    rule: The rule that says so; null: none speaks.
    words: The answer in a sentence.
    """

    answer: Literal["allowed", "ask_authority", "not_allowed"]
    as_of: Day | None = None
    rule: str | None
    source: str | None = None
    title: str | None = None
    words: str


class SensorDay(Struct, kw_only=True, omit_defaults=True):
    """What one sensor read on a day; the range is of the readings that count.

    hours: Hours with a reading that counts.
    not_counted: Impossible, spikes, stuck, or of a cooler.
    """

    hours: int
    max_c: float | None
    min_c: float | None
    not_counted: int
    readings: int
    sensor: str


class SentLine(Struct, kw_only=True, omit_defaults=True):
    """Trees or liners of a lot, or buds of a bag, loaded for another site.

    count: Plants, or buds of a bag. All when left out.
    """

    bag: str | None = None
    count: int | None = None
    grade: str | None = None
    lot: str | None = None
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None


class Share(Struct, kw_only=True, omit_defaults=True):
    """`hits` of `n`, as a share from 0 to 1, with Wilson's 95 % interval (1927).

    The interval takes trees for independent; trees of one lot share their luck, so over few
    lots the truth may lie further off. `share`, `low` and `high` are null when `n` is 0.
    """

    high: float | None
    hits: int
    low: float | None
    n: int
    share: float | None


class ShareOfGrafts(Struct, kw_only=True, omit_defaults=True):
    """The share of grafts that become trees fit for sale, and what it rests on.

    `mean` is the product of `take`, `push`, `survival`, `fit`; lots differ with
    `correlation`.

    fallback: Where it borrows, and from whom.
    lots: Lots of the nursery's own behind it.
    """

    correlation: float
    fallback: str | None
    fit: float
    lots: int
    mean: float
    push: float
    survival: float
    take: float


class SheetColumn(Struct, kw_only=True, omit_defaults=True):
    """A column of a sheet.

    choices: The words it may hold; empty: any.
    needed: Whether a row without it is refused.
    """

    choices: list[str]
    name: str
    needed: bool
    says: str


class SheetNow(Struct, kw_only=True, omit_defaults=True):
    """A sheet that can be sent as CSV.

    rows_together: Which rows become one event.
    """

    columns: list[SheetColumn]
    name: str
    rows_together: str
    says: str
    title: str


class Sheets(Struct, kw_only=True, omit_defaults=True):
    """All sheets, in the order a nursery that starts needs them."""

    items: list[SheetNow]


class SignedOut(Struct, kw_only=True, omit_defaults=True):
    """How many devices were signed out."""

    devices: int


class Site(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="site"):
    """A nursery location.

    latitude: Degrees north.
    longitude: Degrees east.
    table_word: What this site calls a table.
    time_zone: IANA time zone; the site's calendar days are its days.
    """

    climate_normal: ClimateNormal | None = None
    code: str
    latitude: float
    longitude: float
    name: str
    norms: SiteNorms | UnsetType = UNSET
    plant_health: PlantHealth | None = None
    retired: bool = False
    table_word: Literal["bench", "row", "table"] = "table"
    time_zone: str


class SiteBody(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A nursery location.

    latitude: Degrees north.
    longitude: Degrees east.
    table_word: What this site calls a table.
    time_zone: IANA time zone; the site's calendar days are its days.
    """

    climate_normal: ClimateNormal | None = None
    code: str | UnsetType = UNSET
    kind: Literal["site"] | UnsetType = UNSET
    latitude: float
    longitude: float
    name: str
    norms: SiteNorms | UnsetType = UNSET
    plant_health: PlantHealth | None = None
    retired: bool = False
    table_word: Literal["bench", "row", "table"] = "table"
    time_zone: str


class SiteNorms(Struct, kw_only=True, omit_defaults=True):
    """Norms of a site: defaults and remarks hang on them. All may be changed.

    The numbers are common practice, without a source.

    bag_buds_min: A bag with fewer buds is remarked as short.
    bag_sticks_usual: Sticks usual in a bag: three; two where buds sit close, up to five.
    cut_length_mm: Length of the cut that it goes into, millimetres.
    first_push_days: A push earlier than this after grafting is remarked.
    look_every_days: A place with live trees wants a look at least this often.
    regraft_same_source: Must a regraft use wood of the same original source?
    returns_allowed: May sold trees come back to the site?
    scion_buds: Buds on a prepared piece.
    scion_length_mm: Length of a prepared piece, millimetres.
    watch: Left out: the ranges that we came with.
    """

    bag_buds_min: int = 15
    bag_sticks_usual: int = 3
    cut_length_mm: int = 13
    first_push_days: int = 4
    look_every_days: int = 14
    regraft_same_source: bool = True
    returns_allowed: bool = True
    scion_buds: int = 2
    scion_length_mm: int = 38
    watch: Watch | None = None


class Size(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="size"):
    """A container or field size.

    rank: Small to large.
    """

    code: str
    label: str
    rank: int = 0
    retired: bool = False


class SizeBody(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A container or field size.

    rank: Small to large.
    """

    code: str | UnsetType = UNSET
    kind: Literal["size"] | UnsetType = UNSET
    label: str
    rank: int = 0
    retired: bool = False


class SoldBuds(Struct, kw_only=True, omit_defaults=True):
    """Buds out of one bag, or of a cultivar: then the log chooses the bags.

    Name either `bag`, or `cultivar` with `buds`: out of bags that nothing holds and whose
    wood is not past its keeping time, what was cut first. What is stored names bags.

    buds: Left out: all that the bag holds.
    lot: The bag's budwood lot; filled by the log.
    place: Only from this place.
    """

    bag: str | None = None
    buds: int | None = None
    cultivar: str | None = None
    lot: str | None = None
    place: str | None = None


class SoldLine(Struct, kw_only=True, omit_defaults=True):
    """Trees of one lot at one place, or of an item: then the log chooses the lots.

    Name either `lot`, or `cultivar` with `rootstock` and `size`: trees that are ready, held
    by nothing and kept for nobody else, those that have been ready longest first. What is
    stored names lots.

    place: Only from this place.
    """

    count: int
    cultivar: str | None = None
    grade: str | None = None
    lot: str | None = None
    place: str | None = None
    rootstock: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None


class SourceTree(Struct, kw_only=True, omit_defaults=True, tag_field="kind", tag="source_tree"):
    """A registered tree that budwood is cut from.

    expires_on: Last day of its registration.
    tree_class: Standing of the tree in its scheme.
    """

    code: str
    cultivar: str
    expires_on: str | None = None
    last_tested_on: str | None = None
    registration: str | None = None
    retired: bool = False
    site: str | None = None
    tree_class: Literal["foundation", "increase", "own", "scion"] = "own"


class SourceTreeBody(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A registered tree that budwood is cut from.

    expires_on: Last day of its registration.
    tree_class: Standing of the tree in its scheme.
    """

    code: str | UnsetType = UNSET
    cultivar: str
    expires_on: str | None = None
    kind: Literal["source_tree"] | UnsetType = UNSET
    last_tested_on: str | None = None
    registration: str | None = None
    retired: bool = False
    site: str | None = None
    tree_class: Literal["foundation", "increase", "own", "scion"] = "own"


class Spell(Struct, kw_only=True, omit_defaults=True):
    """A stretch out of range, with the reading furthest off.

    until: Back in range; null: still out.
    """

    side: Literal["cold", "warm"]
    since: str
    until: str | None
    worst_c: float


class Standing(Struct, kw_only=True, omit_defaults=True):
    """A number of plants at one place."""

    count: int
    place: str


class StandingNow(Struct, kw_only=True, omit_defaults=True):
    """How much of a lot stands at a place, in one stage, size and grade."""

    count: int
    grade: str | None
    place: str
    site: str
    size: str | None
    stage: str | None


class Step(Struct, kw_only=True, omit_defaults=True):
    """One lot, bag or source tree of a trace; `parents` as `what:CODE`, `depth` steps away."""

    code: str
    cultivar: str | None
    day: Day | None
    depth: int
    kind: str | None
    parents: list[str]
    rootstock: str | None
    what: str
    whereabouts: list[Whereabouts]


class StockAnswer(Struct, kw_only=True, omit_defaults=True):
    """Stock as of `as_of` (null: now), as known at position `known_at`.

    `days`, where `as_of` is a moment: the day at each site at whose end it was answered.
    """

    as_of: str | None
    days: dict[str, Day] | None
    known_at: int
    position: int
    rows: list[StockRow]


class StockByDayAnswer(Struct, kw_only=True, omit_defaults=True):
    """Rows in order of day; days without a change are left out. Reflects `position`."""

    position: int
    rows: list[DayRow]


class StockCounted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="stock.counted",
    forbid_unknown_fields=True,
):
    """Stock was counted (book → counted, the difference to variance)."""

    actor: str | None = None
    data: StockCountedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class StockCountedData(Struct, kw_only=True, omit_defaults=True):
    """A stock count, with its reason."""

    lines: list[CountedLine]
    reason: str


class StockOpened(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="stock.opened",
    forbid_unknown_fields=True,
):
    """The books were opened (source → bags, liners, trees)."""

    actor: str | None = None
    data: StockOpenedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class StockOpenedData(Struct, kw_only=True, omit_defaults=True):
    """What stood at the site when its books were opened. Clocks of checks start here."""

    lines: list[OpenedBudwood | OpenedLiners | OpenedTrees]


class StockRow(Struct, kw_only=True, omit_defaults=True):
    """One group. `quantity` in `commodity` (plants or buds); `failed`: those of dead scion in
    it.

    Parts that were not grouped by, or do not apply, are left out. For kind transit `place`
    is the consignment and `site` the site that it goes to.
    """

    commodity: str
    cultivar: str | None = None
    failed: int = 0
    grade: str | None = None
    kind: str
    lot: str | None = None
    place: str | None = None
    quantity: int
    rootstock: str | None = None
    site: str | None = None
    size: str | None = None
    stage: str | None = None


class Stocks(Struct, kw_only=True, omit_defaults=True):
    """The liners that were grafted on."""

    lot: str
    received_on: Day | None
    seed_source: str | None
    supplier: str | None


class StoredEvent(Struct, kw_only=True, omit_defaults=True):
    """An event as it was recorded, complete: nothing left to default or to derive.

    data: What the event type says; its schema is the type's `…Data`.
    id: UUID of the event.
    occurred: When it happened: a time, or a site's day.
    occurred_at: The moment it is ordered by: of a day alone, its noon there.
    position: A place in the log; the first event has 1.
    recorded_at: When the log learned of it.
    recorded_by: The holder of the key.
    remarks: What was worth saying of it.
    site: The site that acted.
    sites: All sites it touches.
    version: Of the shape of `data`: the newest.
    voided_by: Position of the event that voided it, if any.
    """

    actor: str | None
    data: dict[str, Any]
    happened: bool
    id: str
    occurred: str
    occurred_at: str
    position: int
    recorded_at: str
    recorded_by: str
    remarks: list[dict[str, Any]]
    replaces: str | None
    site: str
    sites: list[str]
    type: str
    version: int
    voided_by: int | None


class StreamedEvent(Struct, kw_only=True, omit_defaults=True):
    """An event of the stream, in the stream's own fields.

    data: JSON: a StoredEvent or a CloudEvent, by `format`.
    id: Its position in the log.
    """

    data: str
    id: str


class TableToSee(Struct, kw_only=True, omit_defaults=True):
    """A place with checks that are due, the most urgent of them first.

    `closed` says that its house may not be entered now (of the same round's
    `closed_houses`).
    """

    checks: list[CheckHere]
    closed: bool
    days_overdue: int
    place: str
    place_kind: str | None
    state: Literal["due", "overdue"]
    structure: str | None


class TakeRateRow(Struct, kw_only=True, omit_defaults=True):
    """Take, or survival from push to ready, of one level of a factor.

    `survival` is of pushed trees whose fate is known: dead and culled ones did not become
    ready. `hits` of `n` trees in `lots`. `low` to `high` is Wilson's 95 % interval (1927) of
    `share`; it takes trees for independent, and trees of a lot are not. `adjusted` answers
    what the share would be had all lots that are compared been this level's, with all else
    as it was; the few borrow from the many. It lies within `adjusted_low` to `adjusted_high`
    with probability 0.8. Shares are from 0 to 1. All of it is an estimate.

    crop: Null: over all crops, adjusted for the crop.
    level: Of `by`. A month is that of the grafting: 01 to 12.
    rank: By `adjusted`, 1 the best; null with fewer than 100 trees, or where no other level
      has so many.
    site: Where it was grafted. Null: all sites, for keys that see them all.
    """

    adjusted: float
    adjusted_high: float
    adjusted_low: float
    by: Literal["cultivar", "grafter", "method", "month", "rootstock", "site"]
    caution: str | None
    crop: str | None
    high: float
    hits: int
    level: str
    lots: int
    low: float
    made_at: str
    measure: Literal["survival", "take"]
    n: int
    position: int
    rank: int | None
    share: float
    site: str | None
    words: str


class TakeRow(Struct, kw_only=True, omit_defaults=True):
    """One group, all numbers in trees. Parts that were not grouped by are left out.

    grafted = read + not_read + all in `gone_before_reading`.

    attempt: 1 for the first grafting, 2 for a regraft of failed trees …
    gone_before_reading: Went before their take was read: by cause of loss, or `sold`,
      `regrafted`, `grafted_onto` (as a stock), `label_lost`, `not_found` (by a count).
    grafted: All grafts, whatever became of them.
    grafter: All counts are of lots that this person grafted alone. Null: not told.
    growing: Alive and not ready yet: `saleable` may still rise by so many.
    not_read: Still there, their take not read yet.
    not_read_failed: Of `not_read`: scion found dead by a push count.
    not_read_pushed: Of `not_read`: pushed, by a push count, before anybody read them.
    opened: Of `grafted`: those that stood as grafts, pushed or not, when the books were
      opened, or were bought in so. What was lost of them before is not known.
    saleable: Those that reached `ready` of all grafted. Compare `growing`.
    season: Of grafting, by the months at the site's half of the earth: spring is March to
      May in the north. The season over New Year has the year of its end.
    shared_grafted: This person's grafts in them. Their take was read for the whole lot and
      is attributed to nobody: none of the other counts holds them.
    shared_lots: By grafter: lots that this person grafted together with others.
    site: Where it was grafted.
    take: Alive of those read at unwrapping. A push is not yet a take.
    """

    attempt: int | None = None
    cultivar: str | None = None
    gone_before_reading: dict[str, int]
    grafted: int
    grafter: str | None = None
    growing: int
    lot: str | None = None
    lots: int
    method: str | None = None
    month: str | None = None
    not_read: int
    not_read_failed: int
    not_read_pushed: int
    opened: int
    rootstock: str | None = None
    saleable: Share
    season: str | None = None
    shared_grafted: int | None = None
    shared_lots: int | None = None
    site: str | None = None
    take: Share


class Target(Struct, kw_only=True, omit_defaults=True):
    """Where a link goes, and what is there."""

    href: str
    type: str


class TemperatureDay(Struct, kw_only=True, omit_defaults=True):
    """One day's air temperatures at the benches. Both null: the day's record is withdrawn.

    day: A day of the site's own calendar.
    max_c: Degrees Celsius; kept to 0.01.
    min_c: Degrees Celsius; kept to 0.01.
    """

    day: Day
    max_c: float | None
    min_c: float | None


class TemperatureRange(Struct, kw_only=True, omit_defaults=True):
    """From which to which temperature all is well, degrees Celsius."""

    highest_c: float
    lowest_c: float


class TemperatureRecord(Struct, kw_only=True, omit_defaults=True):
    """A site's daily temperatures, with the days it lacks."""

    days: list[TemperatureDay]
    gaps: list[RecordGap]
    site: str
    version: int


class TemperaturesPut(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Days to record or to correct; days not named stay as they are.

    source: The sensor or service that measured.
    """

    days: list[TemperatureDay]
    source: str


class TemperaturesReport(Struct, kw_only=True, omit_defaults=True):
    """What a change did, and how the site's whole record then stands.

    first: First day of the whole record.
    last: Last day of the whole record.
    version: Of the record; the same when nothing changed.
    """

    days_unchanged: int
    days_written: int
    first: Day | None
    gaps: list[RecordGap]
    last: Day | None
    version: int
    warnings: list[str]


class ToGraft(Struct, kw_only=True, omit_defaults=True):
    """So many trees of an order out of one bag onto liners at one place.

    bag: null: no bag has buds for them.
    liner_lot: null: no liners are there for them.
    method: null: any.
    place: Where the trees are to stand: as ordered, else where the liners stand.
    """

    bag: str | None
    bag_place: str | None
    budwood_lot: str | None
    count: int
    liner_lot: str | None
    liner_place: str | None
    method: str | None
    place: str | None
    size: str | None
    use_by: Day | None


class ToolsDisinfected(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="tools.disinfected",
    forbid_unknown_fields=True,
):
    """Tools were disinfected (moves nothing)."""

    actor: str | None = None
    data: ToolsDisinfectedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class ToolsDisinfectedData(Struct, kw_only=True, omit_defaults=True):
    """Knives and shears disinfected, as between source trees.

    Never mix bleach with acids or ammonia; wear gloves and eye protection; follow the label
    and local rules.

    before: The source tree or lot worked on next.
    """

    before: str | None = None
    person: str
    product: str
    strength: str | None = None


class TopicEvent(Struct, kw_only=True, omit_defaults=True):
    """A message that is no event of the log, as a CloudEvent 1.0."""

    data: Any
    datacontenttype: str | UnsetType = UNSET
    id: str
    source: str
    specversion: str | UnsetType = UNSET
    subject: str | None = None
    time: str
    type: str


class TopsData(Struct, kw_only=True, omit_defaults=True):
    """Work on the rootstocks' tops. May come before grafting, then on a liner lot."""

    count: int | None = None
    lot: str
    note: str | None = None
    place: str | None = None
    technique: Literal["bent", "cut_back", "lopped", "notched", "other", "tied"] = "bent"


class TopsForced(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="tops.forced",
    forbid_unknown_fields=True,
):
    """Tops were bent, lopped or notched so that the scion's bud leads (a fact, nothing moves).

    Wear eye and hand protection: bent tops spring back and knives slip.
    """

    actor: str | None = None
    data: TopsData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TopsRemoved(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="tops.removed",
    forbid_unknown_fields=True,
):
    """Tops came off (a fact, nothing moves)."""

    actor: str | None = None
    data: TopsRemovedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TopsRemovedData(Struct, kw_only=True, omit_defaults=True):
    """The rootstock's top was cut away above the scion."""

    count: int | None = None
    lot: str
    note: str | None = None
    place: str | None = None


class Total(Struct, kw_only=True, omit_defaults=True):
    """Trees grafted for the order, under one name; null: nobody was named."""

    count: int
    name: str | None


class Trace(Struct, kw_only=True, omit_defaults=True):
    """All steps from `of` (as `what:CODE`), itself first.

    Steps and whereabouts are of one moment: the log up to `position`, its newest event then.
    """

    of: str
    position: int
    steps: list[Step]


class Travelling(Struct, kw_only=True, omit_defaults=True):
    """What of a lot is on its way to a site."""

    bag: str | None
    commodity: Literal["buds", "plants"]
    consignment: str
    count: int
    size: str | None
    stage: str | None
    to_site: str


class Treatment(Struct, kw_only=True, omit_defaults=True):
    """A treatment that closes a house, or whose interval nobody recorded.

    counted_from: The end of the application as it was recorded, else the end of the day that
      was told, since it can't have ended later.
    until: null: no interval was recorded, so nobody can say until when.
    """

    actor: str | None
    counted_from: str
    document: str | None
    end_recorded: bool
    event: str
    occurred: str
    places: list[str]
    product: str
    re_entry_hours: int | None
    until: str | None


class TreatmentApplied(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="treatment.applied",
    forbid_unknown_fields=True,
):
    """A treatment was applied (moves nothing)."""

    actor: str | None = None
    data: TreatmentAppliedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreatmentAppliedData(Struct, kw_only=True, omit_defaults=True):
    """A treatment at places. Only licensed people, by the label and local rules.

    `occurred` says when the application began, `ended` when it was over: the time of no
    entry runs from there, and closes the whole house.

    ended: When the application ended, within seven days of its beginning. Left out, or only
      a day, the end of that day counts: it can't have ended later.
    re_entry_hours: Hours of no entry that the label demands, from the end of the application
      on. Left out nobody can say until when, which is never `safe`.
    """

    document: str | None = None
    ended: str | None = None
    places: list[str]
    product: str
    rate: str | None = None
    re_entry_hours: int | None = None
    reason: str | None = None


class TreesGraded(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.graded",
    forbid_unknown_fields=True,
):
    """Trees were graded (stage and grade change)."""

    actor: str | None = None
    data: TreesGradedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesGradedData(Struct, kw_only=True, omit_defaults=True):
    """Trees graded at one place; several outcomes at once, downgrading allowed.

    grade: The grade they had, if any.
    stage: The stage they had.
    """

    grade: str | None = None
    lot: str
    outcomes: list[Graded]
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None


class TreesGrafted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.grafted",
    forbid_unknown_fields=True,
):
    """Trees were grafted (plants: liners → trees, grafted; buds: bag → used)."""

    actor: str | None = None
    data: TreesGraftedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesGraftedData(Struct, kw_only=True, omit_defaults=True):
    """One budwood lot on one liner lot by one method on one day.

    count: Trees grafted; the grafters' sum when left out.
    cut_mm: Length of the cut in millimetres.
    from_: The bags used. Buds are derived from the method.
    grown_for: The customer it is grown for, if any.
    label_date: The date on the labels. In the same calendar month as `occurred` it counts as
      the budding date.
    lot: Code of the tree lot. Minted when left out.
    method: Method of grafting or budding, in trade terms.
    place: Where the trees stand after grafting.
    work_order: The work order it counts toward. Left out: the one open order that fits, if
      exactly one does.
    """

    count: int | None = None
    cut_mm: int | None = None
    from_: list[BudLine] = field(name="from")
    grafters: list[GraftedBy] = field(default_factory=list)
    grown_for: str | None = None
    label_date: str | None = None
    lot: str | None = None
    method: Literal[
        "bark",
        "chip_bud",
        "cleft",
        "epicotyl",
        "four_flap",
        "inverted_t_bud",
        "micro_bud",
        "patch_bud",
        "side",
        "side_veneer",
        "softwood",
        "splice",
        "t_bud",
        "whip_and_tongue",
    ]
    onto: Onto
    place: str
    work_order: str | None = None


class TreesLost(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.lost",
    forbid_unknown_fields=True,
):
    """Trees were lost (trees → lost, by cause)."""

    actor: str | None = None
    data: TreesLostData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesLostData(Struct, kw_only=True, omit_defaults=True):
    """Trees dead or thrown away.

    cause: Why plants were lost. `culled` is a choice, not a death.
    """

    cause: Literal[
        "breakage",
        "culled",
        "damaged",
        "dead_on_arrival",
        "dead_scion",
        "dead_stock",
        "disease",
        "drought",
        "frost",
        "girdled",
        "heat",
        "pest",
        "unknown",
        "waterlogging",
    ]
    count: int
    grade: str | None = None
    lot: str
    note: str | None = None
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None


class TreesMoved(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.moved",
    forbid_unknown_fields=True,
):
    """Trees were moved inside the site (place → place)."""

    actor: str | None = None
    data: TreesMovedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesMovedData(Struct, kw_only=True, omit_defaults=True):
    """Trees carried to another place of the site. `count` left out: all that stand there.

    place: Where they stood.
    """

    count: int | None = None
    grade: str | None = None
    lot: str
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None
    to: str


class TreesPlanned(Struct, kw_only=True, omit_defaults=True, tag_field="plan", tag="trees"):
    """Ways to have so many trees by a day, those with the fewest grafts first.

    can_be_promised: Of the item, for that day, from what grows already at all sites seen; it
      is not taken off. null: no size was named.
    made_at: When the forecast was made; null: none.
    position: The log's position, of stock and orders.
    reached: As sure as the plan is: close to 0.99 it falls a little short.
    """

    can_be_promised: int | None
    confidence: float
    made_at: str | None
    needed_by: Day
    options: list[Option]
    position: int
    quantity: int
    reached: float
    remarks: list[str]
    sure: str


class TreesPotted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.potted",
    forbid_unknown_fields=True,
):
    """Trees were potted on (size → size)."""

    actor: str | None = None
    data: TreesPottedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesPottedData(Struct, kw_only=True, omit_defaults=True):
    """Trees potted on into another size. `count` left out: all that stand there."""

    count: int | None = None
    grade: str | None = None
    lot: str
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None
    to: str | None = None
    to_size: str


class TreesReceived(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.received",
    forbid_unknown_fields=True,
):
    """Grafted trees were bought in (source → trees)."""

    actor: str | None = None
    data: TreesReceivedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesReceivedData(Struct, kw_only=True, omit_defaults=True):
    """Bought-in grafted trees, with their passport or certificate.

    document: Plant passport or certificate number.
    method: Method of grafting or budding, in trade terms.
    """

    count: int
    cultivar: str
    document: str | None = None
    grade: str | None = None
    grafted_on: str | None = None
    lot: str | None = None
    method: (
        Literal[
            "bark",
            "chip_bud",
            "cleft",
            "epicotyl",
            "four_flap",
            "inverted_t_bud",
            "micro_bud",
            "patch_bud",
            "side",
            "side_veneer",
            "softwood",
            "splice",
            "t_bud",
            "whip_and_tongue",
        ]
        | None
    ) = None
    place: str
    rootstock: str
    size: str
    stage: Literal["failed", "grafted", "pushed", "ready"] = "ready"
    supplier: str


class TreesRegrafted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.regrafted",
    forbid_unknown_fields=True,
):
    """Trees were grafted again (trees → a new lot's trees, grafted; buds → used)."""

    actor: str | None = None
    data: TreesRegraftedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesRegraftedData(Struct, kw_only=True, omit_defaults=True):
    """A second try on stocks whose scion failed: trees of one lot become a new lot.

    method: Method of grafting or budding, in trade terms.
    of: The tree lot whose trees are grafted again.
    of_place: Where they stood before.
    work_order: The work order it counts toward. Left out: the one open order that fits, if
      exactly one does.
    """

    count: int | None = None
    from_: list[BudLine] = field(name="from")
    grafters: list[GraftedBy] = field(default_factory=list)
    lot: str | None = None
    method: Literal[
        "bark",
        "chip_bud",
        "cleft",
        "epicotyl",
        "four_flap",
        "inverted_t_bud",
        "micro_bud",
        "patch_bud",
        "side",
        "side_veneer",
        "softwood",
        "splice",
        "t_bud",
        "whip_and_tongue",
    ]
    of: str
    of_place: str | None = None
    place: str
    size: str | None = None
    stage: Literal["failed", "grafted"] = "failed"
    work_order: str | None = None


class TreesReturned(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.returned",
    forbid_unknown_fields=True,
):
    """Trees came back (customer → a place for returns, where the site's rules allow it)."""

    actor: str | None = None
    data: TreesReturnedData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesReturnedData(Struct, kw_only=True, omit_defaults=True):
    """Trees a customer brought back."""

    customer: str
    lines: list[ReturnedLine]
    order: str | None = None
    reason: str


class TreesSold(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="trees.sold",
    forbid_unknown_fields=True,
):
    """Trees were sold (trees → customer)."""

    actor: str | None = None
    data: TreesSoldData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class TreesSoldData(Struct, kw_only=True, omit_defaults=True):
    """Trees handed over to a customer.

    destination: Where they go: every region that place lies in.
    document: Plant passport, certificate or permit.
    fulfils: Filled by the log.
    order: The order's number.
    reservation: The reservation that this fulfils.
    """

    customer: str
    destination: list[str] | None = None
    document: str | None = None
    fulfils: list[Fulfilled] = field(default_factory=list)
    lines: list[SoldLine]
    order: str | None = None
    reservation: str | None = None


class TreesWanted(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="plan",
    tag="trees",
    forbid_unknown_fields=True,
):
    """So many trees are wanted by a day: what to graft, when, where.

    buds_wasted: Share of the buds that can't be used. Left out: 0.15, as 10 to 20 % are
      common practice (no source).
    confidence: How sure it is to be: 0.8 is 8 in 10 sure. Left out: what the nursery
      promises at.
    liners_spare: Share of the liners that prove unfit at grafting. Left out: 0.05, an
      assumption.
    methods: Left out: all that something is known of.
    sites: Left out: all seen.
    size: Also told: what can be promised of it.
    """

    buds_wasted: float = 0.15
    confidence: float | None = None
    cultivar: str
    grade: str | None = None
    liners_spare: float = 0.05
    methods: list[
        Literal[
            "bark",
            "chip_bud",
            "cleft",
            "epicotyl",
            "four_flap",
            "inverted_t_bud",
            "micro_bud",
            "patch_bud",
            "side",
            "side_veneer",
            "softwood",
            "splice",
            "t_bud",
            "whip_and_tongue",
        ]
    ] = field(default_factory=list)
    needed_by: Day
    quantity: int
    rootstock: str
    sites: list[str] = field(default_factory=list)
    size: str | None = None


class Unlabelled(Struct, kw_only=True, omit_defaults=True):
    """Trees that may be of this lot, standing without a label."""

    count: int
    grade: str | None = None
    lot: str
    place: str | None = None
    size: str | None = None
    stage: Literal["failed", "grafted", "pushed", "ready"] | None = None


class Verdict(Struct, kw_only=True, omit_defaults=True):
    """What became of one event. `id` is null only for what could not be read."""

    errors: list[Fault] = field(default_factory=list)
    id: str | None
    lot: str | None = None
    made: dict[str, list[str]] = field(default_factory=dict)
    position: int | None = None
    remarks: list[Remark] = field(default_factory=list)
    verdict: Literal["accepted", "known", "malformed", "refused"]


class Watch(Struct, kw_only=True, omit_defaults=True):
    """What is told of temperatures, frost and loggers. null: not watched.

    The ranges that we came with are common practice, without a source; wood and young trees
    of crops differ, so state your own.

    bench_c: Where trees and liners stand.
    cooler_c: Where budwood is kept: places of kind cooler.
    frost_c: A day foretold as cold as that is told as frost.
    keeping_days: Wood is told so many days before its usual keeping time ends.
    silent_hours: A logger that is silent for longer is told.
    """

    bench_c: TemperatureRange | UnsetType | None = UNSET
    cooler_c: TemperatureRange | UnsetType | None = UNSET
    frost_c: float | None = 2
    keeping_days: int = 3
    silent_hours: int | None = 3


class WeakFigure(Struct, kw_only=True, omit_defaults=True):
    """Degree-days (Cd) of a stretch of growth, worked out from few published observations.

    None of them are the nursery's own. `method` (of grafting) null: of any.

    derived: How it was worked out.
    """

    degree_days: float
    derived: str
    method: str | None
    source: str
    stretch: Literal["grafted_to_push", "grafted_to_ready", "pushed_to_ready"]


class Webhook(Struct, kw_only=True, omit_defaults=True):
    """A webhook as it is set. `sites`: whose events it is told of, `*` for every site's.

    owner: The name of the keys that it sees with: of who set it last.
    stopped_because: Why it is stopped. by_hand: somebody did. gone: the receiver answered
      410. exhausted: a message did not arrive at any of ten attempts over three days.
      key_gone: no live key of the owner's name sees anything of its sites.
      secret_unreadable: the service lost the key that secrets are kept with; make a new
      secret.
    version: Its ETag.
    """

    changed_at: str
    changed_by: str
    code: str
    created_at: str
    cultivar: str | None
    note: str | None
    owner: str
    rootstock: str | None
    sites: list[str]
    size: str | None
    state: Literal["active", "stopped"]
    stopped_because: Literal["by_hand", "exhausted", "gone", "key_gone", "secret_unreadable"] | None
    types: list[str] | None
    url: str
    version: int


class WebhookDetails(Struct, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What is to be told, and where.

    Item filters let through events that speak of such an item, by the lots, bags,
    reservations and orders that they name; a size holds back only events that name other
    sizes and not it.

    note: What it is for.
    sites: Whose events are told. Left out: as it was; of a new one the sites that the key
      sees.
    types: Types of events and topics. Left out: every event, types yet to come too, and no
      topic.
    url: Where messages are sent: https, on the open internet. No redirect is followed.
    """

    cultivar: str | None = None
    note: str | None = None
    rootstock: str | None = None
    sites: list[str] | None = None
    size: str | None = None
    types: (
        list[
            Literal[
                "catalogue.changed",
                "stock.opened",
                "budwood.cut",
                "budwood.received",
                "budwood.discarded",
                "budwood.moved",
                "budwood.sold",
                "scions.prepared",
                "liners.received",
                "liners.discarded",
                "liners.moved",
                "liners.potted",
                "trees.received",
                "trees.grafted",
                "trees.regrafted",
                "grafts.wrapped",
                "grafts.unwrapped",
                "tops.forced",
                "tops.removed",
                "work.done",
                "push.counted",
                "place.checked",
                "trees.lost",
                "trees.moved",
                "trees.potted",
                "trees.graded",
                "consignment.sent",
                "consignment.received",
                "grafting.ordered",
                "grafting.order_changed",
                "grafting.order_ended",
                "reservation.made",
                "reservation.changed",
                "reservation.confirmed",
                "reservation.expired",
                "reservation.released",
                "promise.overridden",
                "promise.override_ended",
                "trees.sold",
                "trees.returned",
                "papers.printed",
                "stock.counted",
                "label.lost",
                "hold.placed",
                "hold.lifted",
                "tools.disinfected",
                "treatment.applied",
                "alert.acknowledged",
                "alert.remind_on",
                "event.voided",
                "availability.changed",
                "alert.raised",
                "alert.closed",
            ]
        ]
        | None
    ) = None
    url: str


class Whereabouts(Struct, kw_only=True, omit_defaults=True):
    """How many are where. `state`: here, failed (scion dead, stock alive), moving (between
    sites, `place` is the consignment), sold, dead, culled, used (buds), discarded (buds).
    """

    commodity: str
    place: str | None
    quantity: int
    site: str
    stage: str | None
    state: str


class Wood(Struct, kw_only=True, omit_defaults=True):
    """The wood that scions were cut from.

    bags: That the buds came out of; of prepared pieces both bags.
    cut_from: The nursery's own tree lot that it was cut from.
    cut_on: The first day of cutting.
    registration: Of the source tree.
    source_note: What the supplier's label says.
    supplier: Told where the key sees the site that received it.
    tree_class: Of the source tree in its scheme.
    """

    bags: list[str]
    cut_from: str | None
    cut_on: Day | None
    lot: str
    registration: str | None
    source_note: str | None
    source_tree: str | None
    supplier: str | None
    tree_class: str | None
    witness: str | None


class WorkDone(
    Struct,
    kw_only=True,
    omit_defaults=True,
    tag_field="type",
    tag="work.done",
    forbid_unknown_fields=True,
):
    """Work was done (moves nothing)."""

    actor: str | None = None
    data: WorkDoneData
    happened: bool = False
    id: str | None = None
    occurred: str
    replaces: str | None = None
    site: str


class WorkDoneData(Struct, kw_only=True, omit_defaults=True):
    """Staking, desuckering, spacing and the like."""

    lot: str | None = None
    note: str | None = None
    place: str | None = None
    work: Literal["desuckered", "fed", "other", "pruned", "spaced", "staked", "watered", "weeded"]


class WorkOrderNow(Struct, kw_only=True, omit_defaults=True):
    """A work order with its progress, and what fits what is left of it.

    bags: To be used first on top.
    buds_needed: For what is left of it.
    buds_per_tree: By the method; one at least where none is.
    by_lot: What counts toward it, by tree lot.
    day: The site's day that it was judged by.
    graftings: All events for it, by day.
    position: The log's position that this reflects.
    without_bag: Trees still wanted that no bag has buds for.
    without_liners: Trees still wanted that no liner stands for.
    """

    bags: list[FittingBag]
    buds_needed: int
    buds_per_tree: int
    by_grafter: list[Total]
    by_lot: list[Total]
    day: Day
    graftings: list[Grafting]
    liners: list[FittingLiners]
    order: WorkOrderRow
    position: int
    without_bag: int
    without_liners: int


class WorkOrderRow(Struct, kw_only=True, omit_defaults=True):
    """A work order: what is wanted, and how much of it is done.

    done: Trees grafted for it, voided graftings left out.
    ended: Why.
    grafters: Who is to graft; empty: anybody.
    liner_lot: null: any of the rootstock.
    method: null: any.
    place: Where the trees are to stand.
    state: open; late: its day has passed at the site; filled: nothing is left of it; ended:
      somebody ended it. A filled order stays until somebody ends it.
    wanted: Trees from its beginning on.
    """

    changed_position: int
    code: str
    cultivar: str
    customer: str | None
    done: int
    ended: Literal["cancelled", "done", "other"] | None
    ended_day: Day | None
    grafters: list[str]
    left: int
    liner_lot: str | None
    made_day: Day
    method: str | None
    needed_by: Day
    note: str | None
    place: str | None
    position: int
    reservation: str | None
    rootstock: str
    site: str
    state: Literal["ended", "filled", "late", "open"]
    wanted: int


Entry: TypeAlias = Site | Place | Cultivar | Rootstock | Size | SourceTree | CheckPlan | Rule
Event: TypeAlias = (
    CatalogueChanged
    | StockOpened
    | BudwoodCut
    | BudwoodReceived
    | BudwoodDiscarded
    | BudwoodMoved
    | BudwoodSold
    | ScionsPrepared
    | LinersReceived
    | LinersDiscarded
    | LinersMoved
    | LinersPotted
    | TreesReceived
    | TreesGrafted
    | TreesRegrafted
    | GraftsWrapped
    | GraftsUnwrapped
    | TopsForced
    | TopsRemoved
    | WorkDone
    | PushCounted
    | PlaceChecked
    | TreesLost
    | TreesMoved
    | TreesPotted
    | TreesGraded
    | ConsignmentSent
    | ConsignmentReceived
    | GraftingOrdered
    | GraftingOrderChanged
    | GraftingOrderEnded
    | ReservationMade
    | ReservationChanged
    | ReservationConfirmed
    | ReservationExpired
    | ReservationReleased
    | PromiseOverridden
    | PromiseOverrideEnded
    | TreesSold
    | TreesReturned
    | PapersPrinted
    | StockCounted
    | LabelLost
    | HoldPlaced
    | HoldLifted
    | ToolsDisinfected
    | TreatmentApplied
    | AlertAcknowledged
    | AlertRemindOn
    | EventVoided
)


# What an event of each type says, and a message about each topic.
DATA: dict[str, type[Struct]] = {
    "alert.acknowledged": AlertAcknowledgedData,
    "alert.remind_on": AlertRemindOnData,
    "budwood.cut": BudwoodCutData,
    "budwood.discarded": BudwoodDiscardedData,
    "budwood.moved": BudwoodMovedData,
    "budwood.received": BudwoodReceivedData,
    "budwood.sold": BudwoodSoldData,
    "catalogue.changed": CatalogueChangedData,
    "consignment.received": ConsignmentReceivedData,
    "consignment.sent": ConsignmentSentData,
    "event.voided": EventVoidedData,
    "grafting.order_changed": GraftingOrderChangedData,
    "grafting.order_ended": GraftingOrderEndedData,
    "grafting.ordered": GraftingOrderedData,
    "grafts.unwrapped": GraftsUnwrappedData,
    "grafts.wrapped": GraftsWrappedData,
    "hold.lifted": HoldLiftedData,
    "hold.placed": HoldPlacedData,
    "label.lost": LabelLostData,
    "liners.discarded": LinersDiscardedData,
    "liners.moved": LinersMovedData,
    "liners.potted": LinersPottedData,
    "liners.received": LinersReceivedData,
    "papers.printed": PapersPrintedData,
    "place.checked": PlaceCheckedData,
    "promise.overridden": PromiseOverriddenData,
    "promise.override_ended": PromiseOverrideEndedData,
    "push.counted": PushCountedData,
    "reservation.changed": ReservationChangedData,
    "reservation.confirmed": ReservationConfirmedData,
    "reservation.expired": ReservationExpiredData,
    "reservation.made": ReservationMadeData,
    "reservation.released": ReservationReleasedData,
    "scions.prepared": ScionsPreparedData,
    "stock.counted": StockCountedData,
    "stock.opened": StockOpenedData,
    "tools.disinfected": ToolsDisinfectedData,
    "tops.forced": TopsData,
    "tops.removed": TopsRemovedData,
    "treatment.applied": TreatmentAppliedData,
    "trees.graded": TreesGradedData,
    "trees.grafted": TreesGraftedData,
    "trees.lost": TreesLostData,
    "trees.moved": TreesMovedData,
    "trees.potted": TreesPottedData,
    "trees.received": TreesReceivedData,
    "trees.regrafted": TreesRegraftedData,
    "trees.returned": TreesReturnedData,
    "trees.sold": TreesSoldData,
    "work.done": WorkDoneData,
}
TOPICS: dict[str, type[Struct]] = {
    "alert.raised": AlertRow,
    "availability.changed": AvailabilityChanged,
}
