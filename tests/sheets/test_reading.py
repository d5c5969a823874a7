"""CSV as people's spreadsheets write it, and everything that can be wrong with a cell."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.sheets.cells import CellError, bare, understand
from service.sheets.columns import SHEETS, Column
from service.sheets.events_of import events_of
from service.sheets.importing import understand_sheet
from service.sheets.reading import read_table
from service.sheets.writing import cell, template, write_csv

GRAFTING = SHEETS["grafting"]
HEADER = "date;site;bag;liner_lot;method;place;grafter;count"
ROW = "2026-03-05;CORIN;B1;L1;t_bud;C-T1;p-03;12"


def faults(text: str | bytes) -> list[tuple[int, str | None, str]]:
    content = text if isinstance(text, bytes) else text.encode()
    table = read_table(content, GRAFTING)
    return [(fault.line, fault.column, fault.kind) for fault in table.faults]


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize(("between", "mark", "end"), [(",", "", "\r\n"), (";", "\ufeff", "\n")])
def test_a_template_reads_back_with_commas_or_semicolons(
    name: str, between: str, mark: str, end: str
) -> None:
    sheet = SHEETS[name]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=between, lineterminator=end)
    writer.writerow(sheet.header)
    writer.writerows([row.get(column, "") for column in sheet.header] for row in sheet.examples)
    table = read_table((mark + out.getvalue()).encode())
    assert table.faults == []
    # The header alone says which sheet it is.
    assert table.sheet is sheet
    assert [{k: str(v) for k, v in row.values.items()} for row in table.rows] == [
        dict(example) for example in sheet.examples
    ]
    drafts, wrong = events_of(sheet, table.rows)
    assert wrong == []
    assert sorted(line for draft in drafts for line in draft.lines) == [
        row.line for row in table.rows
    ]


def test_headers_may_be_written_with_blanks_and_capitals_and_rows_may_end_in_empty_cells() -> None:
    header = "Date;Site;Bag;Liner lot;Method;Place;Grafter;Count;;"
    assert faults(f"\n{header}\n{ROW};;\n\n;;;;;;;;;\n") == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", [(1, None, "missing")]),
        (HEADER, [(2, None, "missing")]),
        (f"{HEADER};harvest\n{ROW};1", [(1, "harvest", "unknown_field")]),
        (f"{HEADER};count\n{ROW};1", [(1, "count", "bad_value")]),
        ("date;site;bag\n2026-03-05;CORIN;B1",
         [(1, name, "missing") for name in ("liner_lot", "method", "place", "count")]),
        (f"{HEADER}\n{ROW}\n{ROW};7", [(3, None, "bad_value")]),
        (f"{HEADER}\n2026-03-05;CORIN", [(2, None, "bad_value")]),
        (f"{HEADER}\n{ROW[:-2]}\"12", [(2, None, "bad_value")]),
        (f"{HEADER}\n{ROW}\n2026-03-05;CORIN;\"B1;L1", [(3, None, "bad_value")]),
        (f"{HEADER}\n{ROW}\n".encode("utf-16"), [(1, None, "bad_value")]),
        (f"{HEADER}\n{ROW}\n2026-03-05;Corín".encode("latin-1"), [(3, None, "bad_value")]),
        (f"{HEADER}\n{ROW}\x00", [(2, None, "bad_value")]),
        (f"{HEADER}\n{ROW.replace('C-T1', '')}", [(2, "place", "missing")]),
        # every bad cell of every row is named
        (f"{HEADER}\n{ROW}\n5.3.2026;corin;B 1;L1;grafted;C-T1;Jo Doe;0",
         [(3, c, "bad_value") for c in ("date", "site", "bag", "method", "grafter", "count")]),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_line_and_column(
    text: str | bytes, found: list[tuple[int, str | None, str]]
) -> None:
    assert faults(text) == found


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"date,code,place_kind,structure,form\n", "most like places, but does not have"),
        (b"date,site,code,crop,nmae\n", "most like rootstocks, but lacks name and does not have"),
        (b"2026-03-05,CORIN,B1\n", "The first line is no header of a sheet"),
        (b"PK\x03\x04\x14\x00\x06", "a spreadsheet program's own file"),
    ],
)
def test_a_file_whose_sheet_is_unknown_says_what_it_lacks(content: bytes, words: str) -> None:
    (fault,) = read_table(content).faults
    assert words in fault.detail


def test_a_quoted_cell_over_two_lines_counts_as_its_first() -> None:
    text = f'{HEADER};sheet\n{ROW};"one\ntwo"\n{ROW.replace("12", "x")};3'
    assert faults(text) == [(4, "count", "bad_value")]


def test_a_printed_row_that_nobody_filled_in_is_skipped() -> None:
    table = read_table(f"{HEADER}\n{ROW}\n2026-03-05;CORIN;B1;L1;t_bud;C-T1;;".encode())
    assert (table.faults, [row.line for row in table.rows], table.skipped) == ([], [2], [3])


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("when", "03/04/2026", "write 2026-04-03 or 2026-03-04."),
        ("when", "13/04/2026", ": write 2026-04-13, if that is meant."),
        ("when", "4.4.26", "write 2026-04-04, if that is meant."),
        ("when", "31/02/2026", "no day of the calendar"),
        ("when", "31.02.2026", "no day of the calendar"),
        ("when", "5/29/2027", "write 2027-05-29, if that is meant."),
        ("when", "46095", "a spreadsheet's number of a day"),
        ("when", "2026-04-03T09:30", "write a time as"),
        ("day", "2026-04-03T09:30:00Z", "no day written like"),
        ("when", "0003-04-03", "outside the years"),
        ("whole", "12,5", "counted in ones"),
        ("whole", "1.200", "1200, if that is meant"),
        ("whole", "1 200", "1200, if that is meant"),
        ("whole", "=12", "formula"),
        ("whole", "0", "outside 1 to"),
        ("whole", "1000001", "outside 1 to 1000000"),
        ("whole", "-3", "no whole number"),
        ("whole", "twelve", "no whole number"),
        ("decimal", "39,5", "write a point, not a comma: 39.5"),
        ("code", "b-0107", "B-0107"),
        ("code", "=CMD", "no code"),
        ("ref", "Jane Doe", "Names and addresses stay out"),
        ("word", "Citrus", "small letters, citrus"),
        ("word", "1", "a letter first"),
        ("text", "x" * 501, "501 characters"),
        ("yes_no", "maybe", "yes or no"),
    ],
)
def test_a_cell_that_is_refused_says_what_would_do(kind: str, text: str, words: str) -> None:
    column = Column("c", kind, "", least=0 if kind == "decimal" else 1)  # type: ignore[arg-type]
    with pytest.raises(CellError, match=words.replace(".", r"\.")):
        understand(text, column)


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("when", "2026-03-05T09:30:00+01:00", "2026-03-05T09:30:00+01:00"),
        ("whole_or_zero", "0", 0),
        ("decimal", "-0.4", -0.4),
        # a formula is text like any other
        ("text", "=1+1", "=1+1"),
        ("text", "@sum", "@sum"),
        ("yes_no", "Yes", True),
        ("choice", "T bud", "t_bud"),
    ],
)
def test_a_cell_that_is_understood(kind: str, text: str, value: object) -> None:
    column = Column("c", kind, "", choices=("t_bud",), least=-90)  # type: ignore[arg-type]
    assert understand(text, column) == value


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1+2", "@sum", "\tx", "\rx", "'=1", "''", "-"])
def test_what_is_written_is_nothing_a_spreadsheet_computes(text: str) -> None:
    # OWASP, "CSV Injection": = + - @ tab and return begin a formula.
    assert cell(text)[0] == "'"


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=20))
def test_what_is_written_reads_back(text: str) -> None:
    # Blanks around a cell mean nothing, and a return inside one is a line's end.
    text = text.strip()
    written = write_csv(("note",), [{"note": text}])
    (_, (read,)) = csv.reader(io.StringIO(written, newline=""))
    assert bare(read) == text


LIKELY = st.sampled_from(
    ["", "CORIN", "B1", "L1", "2026-03-05", "12", "t_bud", "cut", "opening", "trees", "liners",
     "budwood", "p-03", "=1", "'=1", "a\"b", "03/04/2026", "1,5", "\x00", "grafted", "\u2028", "0"]
)  # fmt: skip
CELL = LIKELY | st.text(max_size=8)


@given(
    st.sampled_from(list(SHEETS)),
    st.lists(st.lists(CELL, min_size=20, max_size=20), max_size=5),
    st.sampled_from([",", ";"]),
)
def test_no_rows_crash_and_each_fault_has_a_line(
    name: str, rows: list[list[str]], between: str
) -> None:
    sheet = SHEETS[name]
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=between)
    writer.writerow(sheet.header)
    writer.writerows(row[: len(sheet.header)] for row in rows)
    found = understand_sheet(out.getvalue().encode("utf-8", "replace"), sheet)
    lines = out.getvalue().count("\n") + out.getvalue().count("\r") + 2
    for fault in found.faults:
        assert 1 <= fault.line <= lines
        assert fault.detail
        assert fault.column is None or fault.column in sheet.header
    for draft in found.drafts:
        assert found.faults or draft.event is not None


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_no_bytes_crash(content: bytes) -> None:
    found = understand_sheet(content)
    assert found.faults
    assert not found.drafts


def test_templates_are_shielded_text() -> None:
    for sheet in SHEETS.values():
        for row in csv.reader(io.StringIO(template(sheet))):
            assert not any(text.startswith(("=", "+", "@")) for text in row)
