"""Tags as they come out of a printer: read back by another hand's reader of codes (zxing-cpp) and
of PDF (pdfium), from the pages drawn as pictures."""

from collections.abc import Sequence
from datetime import date
from math import dist
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from msgspec import structs
from PIL import Image, ImageDraw

from service.tags import fonts, saying
from service.tags.drawing import MODULE_LEAST, QUIET, Line, Tag, TooSmall, pdf
from service.tags.fonts import Unprintable
from service.tags.paper import PAPERS, Paper
from service.trade.events.papers import AsPrinted
from service.trade.tagged import BagTold, LotTold, PlaceTold, Told
from service.wording.shown import shown_to
from tests.support.printed import text_of

BASE = "https://vivero.example.org"
EN, ES = shown_to("en"), shown_to("es")
TOLD: list[Told] = [
    PlaceTold(code="CR2-T04", place_kind="table", structure="Invernadero Ñandú 2", site="CORIN",
              site_name="Corín de los Olmos", table_word="bench"),
    LotTold(code="K7M4QX", kind="tree", species="Citrus sinensis", epithet="Navelina",
            clone="7-1", rootstock="Carrizo citrange", method="t_bud", day=date(2026, 3, 5),
            source="ST-114", attempt=2, protected=True),
    LotTold(code="LINERS-2026.0001-C99", kind="liner", species=None, epithet=None, clone=None,
            rootstock="Carrizo citrange", method=None, day=date(2026, 2, 1), source=None,
            attempt=1, protected=False),
    BagTold(code="B-0412", lot="W3F8QT", epithet="Clemenules", clone=None,
            cut_on=date(2026, 2, 1), buds=60, sticks=6, basis="estimated", source="ST-9",
            use_by=date(2026, 4, 2), protected=False),
]  # fmt: skip
SAID = AsPrinted(
    botanical_name="Citrus sinensis",
    registration="ES-17460123",
    traceability="K7M4QX",
    origin="ES",
    title="Pasaporte fitosanitario / Plant Passport",
    union_flag=True,
    cultivar="NAVEL",
    epithet="Navelina",
    clone="7-1",
    rootstock="Carrizo citrange",
    size="2,5 litros",
    propagated="2026-03",
    source_tree="ST-114",
    source_registration="R-55",
    statement="Certified Citrus Nursery Stock",
    certificate="C-12",
    protected=True,
    licence_terms="No se permite multiplicar.",
)


def tags(shown: Any = ES) -> list[Tag]:
    return [saying.tag_of(one, BASE, shown) for one in TOLD]


def papers(paper: str, count: int = 1, said: AsPrinted = SAID) -> list[Tag]:
    return saying.papers_of(paper, said, count=count, number="3b1f5a77", base=BASE, shown=ES)


def pages(made: bytes, dpi: int = 200) -> list[Image.Image]:
    document = pypdfium2.PdfDocument(made)
    return [page.render(scale=dpi / 72).to_pil() for page in document]


def codes(images: Sequence[Image.Image]) -> list[Any]:
    return [code for image in images for code in zxingcpp.read_barcodes(image)]


@pytest.mark.parametrize("sheet", PAPERS)
def test_every_code_on_every_sheet_is_read_and_leads_to_its_page(sheet: Any) -> None:
    paper = PAPERS[sheet]
    made = pdf(tags(), paper, title="tags", skip=paper.a_page - 2)
    # Two on the first page after those that were used, the rest from the top of the next.
    images = pages(made)
    assert len(images) == (2 if paper.a_page > 1 else 4)
    found = codes(images)
    wanted = [f"{BASE}/t/{one.code}" for one in TOLD]
    assert sorted(code.text for code in found) == sorted(wanted)
    assert {(code.format.name, code.ec_level) for code in found} == {("QRCode", "M")}
    # Coarser than any printer in use.
    assert len(codes(pages(made, dpi=110))) == len(TOLD)
    for code in found:
        assert _module(code, 200) >= MODULE_LEAST - 0.03


def _module(code: Any, dpi: int) -> float:
    """Millimetres of a module, from where the reader found the code's corners."""
    corners = code.position
    left, right = corners.top_left, corners.top_right
    across = dist((left.x, left.y), (right.x, right.y)) / dpi * 25.4
    # ISO/IEC 18004: 21 modules and 4 more a version; byte mode at level M holds 26, 42, 62, 84
    # characters in versions 2 to 5.
    held = {2: 26, 3: 42, 4: 62, 5: 84}
    version = min(version for version, most in held.items() if len(code.text) <= most)
    return across / (17 + 4 * version)


def test_what_stands_beside_the_code_is_in_the_language_asked_for() -> None:
    spanish = text_of(pdf(tags(ES), PAPERS["a4-21"], title="tags"))
    for word in ("CR2-T04", "Invernadero Ñandú 2", "Banco", "Corín de los Olmos", "‘Navelina’ 7-1",
                 "sobre Carrizo citrange", "injerto en T, intento 2", "árbol madre ST-114",
                 "60 yemas (estimadas)", "Protegida: hace falta licencia",
                 "LINERS-2026.0001-C99"):  # fmt: skip
        assert word in spanish, word
    english = text_of(pdf(tags(EN), PAPERS["a4-21"], title="tags"))
    for word in ("Bench", "on Carrizo citrange", "cut Sun 1 Feb 2026", "60 buds (estimated)",
                 "lot W3F8QT", "use by Thu 2 Apr 2026"):  # fmt: skip
        assert word in english, word


def test_words_that_are_blank_in_the_catalogue_leave_their_place_empty() -> None:
    blank = structs.replace(SAID, botanical_name=" ", title="\u2003", statement=" ", size=" ")
    for paper in ("plant_passport", "certified_tag", "sale_tag"):
        said = text_of(pdf(papers(paper, said=blank), PAPERS["a4-10"], title=paper))
        assert "K7M4QX" in said


def test_a_passport_has_flag_and_words_above_its_parts_in_a_frame() -> None:
    """As Regulation (EU) 2016/2031, Annex VII, part A, and 2017/2313 ask: the flag top left, the
    words top right, A botanical name, B registration, C traceability, D origin, set apart."""
    made = pdf(papers("plant_passport", 3), PAPERS["a4-24"], title="papers")
    words = text_of(made)
    parts = ["Plant Passport", "A Citrus sinensis", "B ES-17460123", "C K7M4QX", "D ES", "1/3"]
    places = [words.index(part) for part in parts]
    assert places == sorted(places)
    # Each has its own number, so a copy of a page shows.
    assert [f"3b1f5a77 · {n}/3" in words for n in (1, 2, 3)] == [True] * 3
    assert {code.text for code in codes(pages(made))} == {f"{BASE}/t/K7M4QX"}
    one = pdf(papers("plant_passport"), PAPERS["roll-100x50"], title="one")
    assert _stars(_top_left(one)) == 12
    letters = pypdfium2.PdfDocument(one)[0].get_textpage()
    first, _ = letters.search("Plant Passport").get_next()
    left, bottom, _, _ = letters.get_charbox(first)
    assert left > 50 / 25.4 * 72
    assert bottom > 40 / 25.4 * 72
    bare = papers("plant_passport", said=structs.replace(SAID, union_flag=False))
    assert _stars(_top_left(pdf(bare, PAPERS["roll-100x50"], title="one"))) == 0


def _top_left(made: bytes) -> Image.Image:
    (page,) = pages(made, dpi=600)
    return page.convert("L").crop((0, 0, page.width // 8, page.height // 6))


def _stars(image: Image.Image) -> int:
    """White islands in black: what is left white when the ground round about is filled."""
    found = image.point(lambda grey: 255 if grey > 127 else 0)
    count = 0
    # Paper outside the frame, and within it.
    for corner in ((0, 0), (image.width - 1, image.height - 1)):
        if found.getpixel(corner) == 255:
            ImageDraw.floodfill(found, corner, 0)
    for y in range(0, found.height, 2):
        for x in range(0, found.width, 2):
            if found.getpixel((x, y)) == 255:
                before = found.histogram()[255]
                ImageDraw.floodfill(found, (x, y), 0)
                # A tip may hang on its star by a corner alone.
                count += before - found.histogram()[255] > 20
    return count


def test_certified_and_sale_tags_say_what_a_buyer_and_an_inspector_ask() -> None:
    certified = text_of(pdf(papers("certified_tag"), PAPERS["a4-10"], title="papers"))
    for word in ("Certified Citrus Nursery Stock", "K7M4QX", "‘Navelina’ 7-1",
                 "árbol madre ST-114 (R-55)", "certificado C-12", "multiplicado en marzo de 2026",
                 "2,5 litros"):  # fmt: skip
        assert word in certified, word
    sale = text_of(pdf(papers("sale_tag"), PAPERS["a4-10"], title="papers"))
    assert "No se permite multiplicar." in sale
    assert "Protegida: hace falta licencia" in sale
    assert "ES-17460123" not in sale


def test_what_does_not_fit_is_said_before_it_is_printed() -> None:
    small = Paper(page_width=40, page_height=15, width=40, height=15)
    with pytest.raises(TooSmall) as refused:
        pdf(tags(), small, title="tags")
    # 36 characters need version 3 of 29 modules, with a quiet zone of four on each side.
    assert (refused.value.what, refused.value.needs) == ("code", (29 + 2 * QUIET) * 0.5)
    narrow = Paper(page_width=44, page_height=22, width=44, height=22)
    with pytest.raises(TooSmall) as refused:
        pdf(papers("certified_tag"), narrow, title="papers")
    long = Tag(code="T1", address=None, lines=[Line("word " * 80)], official=True)
    with pytest.raises(TooSmall) as refused:
        pdf([long], PAPERS["roll-70x40"], title="papers")
    assert refused.value.what == "text"


def test_letters_that_no_font_has_are_told_or_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    odd = Tag(code="T1", address=None, lines=[Line("Ștefan \t苗圃\nλ")])
    # As on a machine with the library's own letters alone.
    monkeypatch.setattr(fonts, "_WIDER", ())
    fonts._face.cache_clear()
    assert "Stefan ?? ?" in text_of(pdf([odd], PAPERS["roll-70x40"], title="tags"))
    with pytest.raises(Unprintable) as refused:
        fonts.written("Ștefan λ", official=True)
    assert refused.value.letters == "Șλ"
    monkeypatch.undo()
    fonts._face.cache_clear()


def test_the_same_tags_are_the_same_bytes() -> None:
    made = [pdf(tags(), PAPERS["a4-24"], title="tags") for _ in range(2)]
    assert made[0] == made[1]
