"""Pages for paper: the day sheet and the count sheet. Black on white, no script, big boxes.

Everything that is shown is escaped; a page needs nothing but itself.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from html import escape
from typing import Literal

from service.sheets.columns import COUNTS
from service.sheets.printing import CountKind, Line
from service.trade.events.catalogue import Place
from service.trade.methods import METHODS
from service.views.grafting_list import GraftingList, OrderOfTheDay
from service.views.work_orders import WorkOrderRow

Paper = Literal["a4", "letter"]
# Rows at the end for what is not on the list.
BLANK_ROWS = 4
STYLE = """
@page { size: PAPER landscape; margin: 11mm 10mm 14mm;
  @bottom-right { content: "Page " counter(page) " of " counter(pages);
    font: 9pt sans-serif; } }
* { box-sizing: border-box; }
body { margin: 0; color: #000; background: #fff;
  font: 10.5pt/1.3 "DejaVu Sans", Arial, sans-serif; }
h1 { font-size: 17pt; margin: 0; }
header { display: flex; justify-content: space-between; align-items: flex-end; gap: 8mm;
  border-bottom: 2pt solid #000; padding-bottom: 2.5mm; margin-bottom: 3mm; }
header p { margin: 1mm 0 0; font-size: 11.5pt; }
.write { display: flex; gap: 6mm; }
.write span { display: block; min-width: 38mm; border-bottom: 1pt solid #000; height: 11mm;
  font-size: 8.5pt; }
table { border-collapse: collapse; width: 100%; }
thead { display: table-header-group; }
tr.running th { border: 0; padding: 0 0 1mm; font-weight: normal; }
th { text-align: left; font-size: 8.5pt; font-weight: bold; vertical-align: bottom; }
th, td { border: 0.6pt solid #000; padding: 1mm 1.6mm; }
tr { break-inside: avoid; }
tbody { break-inside: auto; }
tbody tr.order { break-after: avoid; }
tr.order td { border-top: 1.8pt solid #000; background: #fff; padding: 2mm 1.6mm; }
td { height: 12mm; vertical-align: middle; }
tr.order td, tr.told td { height: auto; }
td small, .order small { display: block; font-size: 8.5pt; }
.box { border: 1.4pt solid #000; min-width: 24mm; }
.number { text-align: right; font-size: 12.5pt; font-weight: bold; white-space: nowrap; }
.code { font-family: "DejaVu Sans Mono", "Courier New", monospace; font-weight: bold;
  white-space: nowrap; }
.late { border: 1pt solid #000; padding: 0 1.5mm; font-weight: bold; }
aside { font-size: 9pt; margin-bottom: 3mm; }
aside p { margin: 0 0 1.5mm; }
.care { border: 1pt solid #000; padding: 1.5mm 2mm; }
@media screen { body { max-width: 285mm; margin: 8mm auto; padding: 0 6mm; } }
"""
CARE = (
    "Knives: cut away from the body, wear a cut-resistant glove on the hand that holds the stock, "
    "close the blade when it is put down. Disinfect knife and hands before each new bag and "
    "wherever a hold or a rule asks for it. Disinfectants burn skin and eyes: gloves, goggles, "
    "fresh air, never mixed; follow the label. Local rules come first."
)
FILLING = (
    "A row for each grafter and bag. Write what was really used: strike out a code that is not "
    "right and write the right one over it. Leave rows empty that were not used."
)


def style(paper: Paper) -> str:
    """The page's style sheet."""
    return STYLE.replace("PAPER", {"a4": "A4", "letter": "letter"}[paper])


def day_sheet(
    listed: GraftingList,
    rows: Sequence[tuple[OrderOfTheDay, list[Line]]],
    *,
    sheet: str | None,
    paper: Paper,
) -> str:
    """The grafting to do at a site on a day, to be written on."""
    whose = f"for {listed.grafter}" if listed.grafter else "for all grafters"
    where = f"{listed.site_name} ({listed.site}) · {_long(listed.day)} · {whose}"
    headings = [
        "Order", "Bag", "Liners", "Method", "To place", "Up to", "Grafter", "Trees grafted",
        "Buds taken",
    ]  # fmt: skip
    body = "".join(_order_rows(one, lines, len(headings)) for one, lines in rows)
    body += _told_row("Not on the list: order, bag and liners are to be written too", len(headings))
    body += BLANK_ROWS * f"<tr>{6 * '<td></td>'}{_boxes(3)}</tr>"
    nothing = "" if rows else "<p>No work order waits for this day.</p>"
    if listed.more:
        nothing += "<p>More orders wait than fit a sheet; the first of them are here.</p>"
    methods = f"Method, where none is printed, one of: {', '.join(METHODS)}."
    notes = [f'<p class="care">{escape(CARE)}</p>', f"<p>{escape(FILLING)} {escape(methods)}</p>"]
    return _page("Grafting to do", where, nothing, headings, body, notes, sheet, paper)


def _order_rows(one: OrderOfTheDay, lines: Iterable[Line], width: int) -> str:
    shown = _told_row(_order_words(one), width, order=True)
    for line in lines:
        cells = line.cells
        bag = _code(cells.get("bag")) + _small(
            f"at {line.bag_place}" if line.bag_place else "",
            f"use by {_short(line.use_by)}" if line.use_by else "",
        )
        liners = _code(cells.get("liner_lot")) + _small(
            f"at {cells['liner_place']}" if "liner_place" in cells else "", line.size
        )
        method = escape(cells.get("method", "").replace("_", " "))
        shown += (
            f"<tr><td>{_code(cells.get('work_order'))}</td><td>{bag}</td><td>{liners}</td>"
            f"<td>{method}</td><td>{_code(cells.get('place'))}</td>{_up_to(line)}{_boxes(3)}</tr>"
        )
    return shown


def _up_to(line: Line) -> str:
    if line.shared:
        return "<td><small>shared with<br>the row above</small></td>"
    return f"<td class=number>{line.up_to}</td>"


def _order_words(one: OrderOfTheDay) -> str:
    order = one.order
    late = " <span class=late>LATE</span>" if order.state == "late" else ""
    more = [
        f"for {order.customer}" if order.customer else "",
        f"reservation {order.reservation}" if order.reservation else "",
        f"by {', '.join(order.grafters)}" if order.grafters else "",
        order.note or "",
        _lacking(one),
    ]
    return (
        f"<span class=code>{escape(order.code)}</span> &nbsp; <b>{escape(_item(order))}</b> &nbsp; "
        f"{order.left} of {order.wanted} left, by {_short(order.needed_by)}{late}" + _small(*more)
    )


def _item(order: WorkOrderRow) -> str:
    return f"{order.cultivar} on {order.rootstock}"


def _lacking(one: OrderOfTheDay) -> str:
    lacks = []
    if one.without_bag:
        lacks.append(f"no bag that keeps has buds for {one.without_bag} of them")
    if one.without_liners:
        lacks.append(f"no liners stand for {one.without_liners} of them")
    return "; ".join(lacks)


# -- counting ---------------------------------------------------------------------------


def count_sheet(
    lines: Sequence[Line],
    kind: CountKind,
    *,
    place: Place,
    day: date,
    book: bool,
    sheet: str | None,
    paper: Paper,
) -> str:
    """What stands at a place, to be counted; the book's figures only with `book`."""
    where = f"{place.site} · {place.structure} · {place.code} · {_long(day)}"
    if kind == "push":
        boxes = ["Pushed", "Waiting", "Failed", "Unclear", "Removed dead", "Cause"]
        headings = ["Lot", "What", "Size"]
        stages: tuple[str, ...] = ("grafted", "pushed", "failed")
        title = "Push count"
    else:
        boxes = ["Counted"]
        headings = ["Lot or bag", "What", "Stage", "Size", "Grade"]
        stages = ("count",)
        title = "Stock count"
    if book:
        headings += [f"Book: {stage}" if stage != "count" else "Book" for stage in stages]
    body = ""
    for line in lines:
        cells = line.cells
        told = [_code(cells.get("lot") or cells.get("bag")), escape(line.what)]
        names = ("size",) if kind == "push" else ("stage", "size", "grade")
        told += [escape(cells.get(name, "")) for name in names]
        figures = [f"<td class=number>{line.book.get(s, 0)}</td>" for s in stages] if book else []
        row = "".join(f"<td>{cell}</td>" for cell in told) + "".join(figures)
        body += f"<tr>{row}{_boxes(len(boxes))}</tr>"
    width = len(headings) + len(boxes)
    body += _told_row("Found here and not on the list", width)
    body += BLANK_ROWS * f"<tr>{len(headings) * '<td></td>'}{_boxes(len(boxes))}</tr>"
    nothing = "" if lines else "<p>By the book nothing stands here.</p>"
    return _page(
        title,
        where,
        nothing,
        [*headings, *boxes],
        body,
        _count_notes(kind),
        sheet,
        paper,
        reason=kind == "stock",
    )


def _count_notes(kind: CountKind) -> list[str]:
    words = (
        "Count what stands, not what should. 0 is an answer: write it. Leave a box empty only "
        "where nobody looked."
    )
    notes = [f"<p>{words}</p>"]
    if kind == "push":
        causes = ", ".join(COUNTS.column("cause").choices)
        notes.append(f"<p>Cause of what was removed dead, one of: {escape(causes)}.</p>")
    return notes


# -- parts ----------------------------------------------------------------------------------


def _page(
    title: str,
    where: str,
    nothing: str,
    headings: Sequence[str],
    body: str,
    notes: Iterable[str],
    sheet: str | None,
    paper: Paper,
    *,
    reason: bool = False,
) -> str:
    # Repeated on every page, so that a loose one says whose it is.
    running = " · ".join([title, where, *([f"sheet {sheet}"] if sheet else [])])
    content = nothing + _table(running, headings, body)
    write = ["<span>Sheet no. " + (f"<b>{escape(sheet)}</b>" if sheet else "") + "</span>"]
    if reason:
        write.append("<span>Reason</span>")
    write += ["<span>Done by</span>", "<span>Typed in by, on</span>"]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(title)} · {escape(where)}</title><style>{style(paper)}</style></head>"
        f"<body><header><div><h1>{escape(title)}</h1><p>{escape(where)}</p></div>"
        f"<div class=write>{''.join(write)}</div></header>"
        f"<aside>{''.join(notes)}</aside>{content}</body></html>\n"
    )


def _table(running: str, headings: Sequence[str], body: str) -> str:
    names = "".join(f"<th>{escape(heading)}</th>" for heading in headings)
    head = (
        f"<tr class=running><th colspan={len(headings)}>{escape(running)}</th></tr><tr>{names}</tr>"
    )
    return f"<table><thead>{head}</thead><tbody>{body}</tbody></table>"


def _told_row(words: str, width: int, *, order: bool = False) -> str:
    """A row over the whole width; `words` of an order are HTML already."""
    told = words if order else f"<b>{escape(words)}</b>"
    return f'<tr class="{"order" if order else "order told"}"><td colspan={width}>{told}</td></tr>'


def _boxes(number: int) -> str:
    return number * "<td class=box></td>"


def _code(code: str | None) -> str:
    return f"<span class=code>{escape(code)}</span>" if code else ""


def _small(*parts: str) -> str:
    told = " · ".join(escape(part) for part in parts if part)
    return f"<small>{told}</small>" if told else ""


def _long(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B %Y}"


def _short(day: date) -> str:
    return f"{day.day} {day:%b}"
