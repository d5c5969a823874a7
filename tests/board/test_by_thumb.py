"""At the table on a telephone of 360 px: how many taps it takes, and how it looks."""

import re

from playwright.async_api import Page, expect

from tests.board.at_bench import asked
from tests.board.conftest import Visitor
from tests.board.looking import check_page, picture
from tests.board.served import Served

# Seconds that a tap, and a key in reach of the thumb, take somebody in gloves: common practice, no
# source. Fitts' law gives half of it for keys of 52 px at this distance (MacKenzie 1992, table 4).
TAP, KEY = 1.5, 0.8
GRAFTED = "SELECT count(*) FROM events WHERE type = 'trees.grafted' AND recorded_by = 'p-02'"


class Thumb:
    """Taps on what can be seen, counted; a control smaller than 44 px is none for gloves."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.keys = page, 0, 0

    async def tap(self, name: str | re.Pattern[str], role: str = "link") -> None:
        found = self.page.get_by_role(role, name=name, exact=isinstance(name, str)).first  # type: ignore[arg-type]
        box = await found.bounding_box()
        assert box is not None
        assert box["height"] >= 44, (name, box)
        await found.tap()
        self.taps += 1

    async def number(self, digits: str) -> None:
        for digit in digits:
            key = self.page.locator(f'[data-key="{digit}"]')
            box = await key.bounding_box()
            assert box is not None
            assert min(box["height"], box["width"]) >= 48
            assert box["y"] + box["height"] <= 740, "a key is out of the thumb's reach"
            await key.tap()
            self.keys += 1

    @property
    def seconds(self) -> float:
        """What a person needs for it, by the figures above."""
        return self.taps * TAP + self.keys * KEY


async def seen_at_once(page: Page, selector: str) -> None:
    """What must be seen before Save is tapped lies above the number keys, without a swipe."""
    box = await page.locator(selector).last.bounding_box()
    keys = await page.locator(".dock").bounding_box()
    assert box is not None
    assert keys is not None
    assert box["y"] + box["height"] <= keys["y"], (selector, box, keys)


async def test_a_push_count_takes_a_few_taps(visitor: Visitor, demo: Served) -> None:
    page = await visitor("p-02")
    await page.goto("/table/C-T6")
    await check_page(page, "t-table-phone")
    thumb = Thumb(page)
    await thumb.tap("Push count")
    await expect(page.get_by_label("Pushed")).to_be_focused()
    await check_page(page, "t-push-phone")
    await thumb.number("12")
    await expect(page.get_by_label("Pushed")).to_have_value("12")
    await thumb.tap("Save", "button")
    await page.wait_for_url("**/table/C-T6?done=*")
    await expect(page.get_by_text("Push counted: 12 pushed").first).to_be_visible()
    print(f"push count: {thumb.taps} taps, {thumb.keys} keys, {thumb.seconds:.1f} s")
    assert thumb.taps <= 3
    assert thumb.seconds < 15
    # And back again with one more.
    await thumb.tap("Undo that", "button")
    await page.wait_for_url("**/table/C-T6")
    await expect(page.locator("li.undone").first).to_be_visible()


async def test_nothing_to_note_is_one_tap(visitor: Visitor) -> None:
    page = await visitor("p-02")
    await page.goto("/table/C-T6")
    thumb = Thumb(page)
    await thumb.tap("Looked, nothing to note", "button")
    await page.wait_for_url("**/table/C-T6?done=*")
    assert thumb.taps == 1


async def test_a_graft_from_the_days_list_and_the_next_one(visitor: Visitor, demo: Served) -> None:
    page = await visitor("p-02")
    before_all = await asked(demo, GRAFTED)
    await page.goto("/table/C-BED")
    thumb = Thumb(page)
    await thumb.tap(re.compile("^Graft$"))
    await page.wait_for_url("**/table/C-BED/graft")
    await check_page(page, "t-graft-list-phone")
    line = re.compile(r"^2 · C-W\S+ → C-L")
    await thumb.tap(line)
    await page.wait_for_url("**/graft?*bag=*")
    await check_page(page, "t-graft-phone")
    await seen_at_once(page, "#f-method")
    await seen_at_once(page, '.chip:has([name="onto"]:checked)')
    await thumb.number("1")
    await thumb.tap("Save", "button")
    await page.wait_for_url("**/graft?*done=*")
    print(f"graft: {thumb.taps} taps, {thumb.keys} keys, {thumb.seconds:.1f} s")
    assert thumb.seconds < 30
    # The next is of the same bag, stocks and method: only the number is left to say.
    await expect(page.get_by_label("Bag")).to_have_value(re.compile("^C-W"))
    await expect(page.get_by_role("radio", checked=True)).to_have_count(1)
    await expect(page.get_by_role("button", name="Undo that")).to_be_visible()
    await seen_at_once(page, "#f-bag")
    await seen_at_once(page, "#f-method")
    again, before = Thumb(page), page.url
    await again.number("1")
    await again.tap("Save", "button")
    await page.wait_for_url(lambda url: url != before)
    assert await asked(demo, GRAFTED) == before_all + 2
    assert again.seconds < 6


async def test_the_pages_of_the_bench_in_spanish_and_on_a_desk(visitor: Visitor) -> None:
    page = await visitor("p-01")
    for path, name in (
        ("/table/C-T6", "table"),
        ("/table/C-T6/loss", "loss"),
        ("/table/C-T7/stock-count", "stock-count"),
        ("/table/C-T6/grade", "grade"),
        ("/table/C-T6/potted", "potted"),
        ("/table/C-T6/work", "work"),
        ("/table/C-T6/move", "move"),
    ):
        await page.goto(path)
        await check_page(page, f"t-{name}-es")
    assert await page.get_by_role("heading", name="Traslado").count() == 1
    page = await visitor("manager", phone=False)
    for path, name in (
        ("/table/C-T6", "table"),
        ("/table/C-T6/push-count", "push"),
        ("/find?q=C-T", "find"),
    ):
        await page.goto(path)
        await check_page(page, f"t-{name}-desktop")
    # The causes of a lot's loss are seen before Save, in the longer words of Spanish too.
    page = await visitor("p-01")
    await page.goto("/table/C-T6/loss")
    row = await page.locator('input[name="row"]').first.input_value()
    await page.goto(f"/table/C-T6/loss?row={row}")
    await seen_at_once(page, 'fieldset > .chip:has([name="cause"])')


async def test_without_script_a_refusal_is_counted_and_sent_again(
    visitor: Visitor, demo: Served
) -> None:
    page = await visitor("p-02", script=False)
    await page.goto("/table/C-T7/loss")
    await page.get_by_role("radio").first.check()
    book = int((await page.locator("label.chip.wide").first.inner_text()).rpartition("·")[2])
    await page.get_by_label("How many are lost").fill(str(book + 1))
    await page.get_by_label("broken").check()
    await page.get_by_role("button", name="Save", exact=True).click()
    await expect(page.get_by_role("alert").last).to_contain_text("the book has")
    # Nothing can be asked of a page without script: only looked at.
    await picture(page, "t-refused-phone")
    await page.get_by_role("button", name="Save this count, and send it again").click()
    await expect(page.get_by_role("status")).to_contain_text("Recorded at C-T7: loss.")
