"""The day's sheets typed from paper in the evening: keys, pasting, a verdict for each row."""

import uuid
from collections.abc import Sequence
from typing import Any

import httpx
import pytest
from playwright.async_api import Locator, Page, expect

from service.storage.pool import open_database
from tests.board.conftest import Visitor
from tests.board.looking import check_page, picture
from tests.board.served import Served

pytestmark = pytest.mark.asyncio(loop_scope="session")
STANDING = """
SELECT l.code AS lot, b.size, b.place, b.balance AS count, count(*) OVER (PARTITION BY b.place) AS n
FROM balances b JOIN lots l ON l.lot_id = b.lot_id
WHERE b.kind = 'trees' AND b.stage = 'pushed' AND b.site = 'CORIN' AND b.balance > 1
  AND b.place NOT IN ('C-T6', 'C-T16', 'C-T17', 'C-T7', 'C-BED', 'C-RET', 'C-T9')
ORDER BY n DESC, b.place, l.code
"""


async def asked(demo: Served, query: str, *values: object) -> Sequence[Any]:
    """Rows of the log's own tables."""
    async with (
        await open_database(demo.settings) as database,
        database.writer.acquire() as connection,
    ):
        return list(await connection.fetch(query, *values))


async def newest(demo: Served, kind: str) -> int:
    """How many events of a type there are."""
    return int((await asked(demo, "SELECT count(*) FROM events WHERE type = $1", kind))[0][0])


async def sent(demo: Served, who: str, form: dict[str, str]) -> Any:
    """A count sheet as a device sends it; the answer."""
    headers, cookies = {"Accept": "application/json"}, {"graftlog_seat": demo.cookies[who]}
    async with httpx.AsyncClient(headers=headers, cookies=cookies, trust_env=False) as client:
        csrf = (await client.get(f"{demo.url}/device/who")).json()["csrf"]
        address = f"{demo.url}/evening/CORIN/counts"
        return (await client.post(address, data=form | {"csrf": csrf})).json()


def cell(page: Page, row: str, column: str) -> Locator:
    return page.locator(f'[name="r.{row}.{column}"]')


async def focused(page: Page) -> str:
    return str(await page.evaluate("document.activeElement.name"))


async def test_a_grafting_sheet_is_typed_by_keyboard_and_told_row_by_row(
    visitor: Visitor, demo: Served
) -> None:
    page = await visitor("manager", phone=False)
    before = await newest(demo, "trees.grafted")
    await page.goto("/evening/CORIN/grafting")
    await cell(page, "0", "method").select_option("chip_bud")
    await cell(page, "0", "grafter").focus()
    await page.keyboard.type("p-03")
    await page.keyboard.press("Tab")
    await page.keyboard.type("2")
    # As in a spreadsheet: Enter goes down, arrows to the neighbours.
    await page.keyboard.press("Enter")
    assert await focused(page) == "r.1.count"
    await page.keyboard.press("ArrowLeft")
    assert await focused(page) == "r.1.grafter"
    await page.keyboard.press("ArrowUp")
    await page.keyboard.press("ArrowRight")
    assert await focused(page) == "r.0.count"
    # Pasted from a spreadsheet into rows that the sheet did not have, and more of them than it has.
    bag_code = await cell(page, "0", "bag").input_value()
    liners = await cell(page, "0", "liner_lot").input_value()
    lines = [
        f"\t{bag_code.lower()}\t{liners}\tC-BED\tinverted T-bud\tC-BED\tp-0{n}\t{count}"
        for n, count in ((4, "1"), (5, "90000"), (6, "many"), (7, "1"), (8, "1"))
    ]
    await cell(page, "x0", "work_order").focus()
    await page.evaluate(
        """(text) => {
            const clipboardData = new DataTransfer();
            clipboardData.setData("text", text);
            const how = {clipboardData, bubbles: true, cancelable: true};
            document.activeElement.dispatchEvent(new ClipboardEvent("paste", how));
        }""",
        "\n".join(lines),
    )
    await expect(cell(page, "x4", "grafter")).to_have_value("p-08")
    await expect(cell(page, "x2", "count")).to_have_attribute("aria-invalid", "true")
    await check_page(page, "o-grafting-filled")
    # Closed by mistake: all of it comes back, also into the rows that were added.
    await page.reload()
    await expect(cell(page, "x4", "grafter")).to_have_value("p-08")
    await expect(cell(page, "x0", "bag")).to_have_value(bag_code)
    # A row of its own each, also where some that were added were left empty and did not come back.
    await page.locator("form[data-grid]").evaluate(
        "form => form.dispatchEvent(new CustomEvent('fill', {detail: [['r.x7.count', '1']]}))"
    )
    for _ in range(3):
        await page.get_by_role("button", name="More rows").click()
    names = await page.locator("tr[data-row]").evaluate_all(
        "all => all.map(one => one.dataset.row)"
    )
    assert len(set(names)) == len(names)
    await page.get_by_role("button", name="Record the sheet").click()
    # A cell that can't be is said before anything is judged.
    await expect(page.locator('[id="e-r.x2.count"]')).to_contain_text("whole number")
    assert await newest(demo, "trees.grafted") == before
    await cell(page, "x2", "count").fill("1")
    # A lot of its own: these rows alone are refused.
    await cell(page, "x1", "method").select_option("side")
    await page.get_by_role("button", name="Record the sheet").click()
    await expect(page.locator('[data-row="0"]')).to_contain_text("Recorded")
    await expect(page.locator('[data-row="x1"] + .why')).to_contain_text("are asked for")
    await expect(cell(page, "0", "count")).to_have_attribute("readonly", "")
    assert await newest(demo, "trees.grafted") == before + 2
    await check_page(page, "o-grafting-refused")
    await cell(page, "x1", "count").fill("1")
    await page.get_by_role("button", name="Record the sheet").click()
    await expect(page.locator("#device")).to_contain_text("rows recorded.")
    assert await newest(demo, "trees.grafted") == before + 3


async def test_a_count_sheet_is_typed_without_a_connection(visitor: Visitor, demo: Served) -> None:
    page = await visitor("p-01", phone=True)
    stands = (await asked(demo, STANDING))[0]
    before = await newest(demo, "push.counted")
    address = f"/evening/CORIN/counts?place={stands['place']}&count=push"
    await page.goto(address)
    await page.evaluate("navigator.serviceWorker.ready.then((worker) => worker.scope)")
    row = page.locator("tbody tr").filter(has=page.locator(f'input[value="{stands["lot"]}"]')).first
    name = await row.get_attribute("data-row") or ""
    await check_page(page, "o-push-phone-es")
    await page.context.set_offline(True)
    await cell(page, name, "pushed").fill("1")
    await page.get_by_role("button", name="Anotar la hoja").click()
    await expect(page.locator("#device")).to_contain_text("Guardado en este aparato")
    await expect(cell(page, name, "pushed")).to_have_value("")
    await check_page(page, "o-push-kept-phone-es")
    await page.context.set_offline(False)
    await expect(page.locator("[data-part=counts]")).to_be_hidden()
    assert await newest(demo, "push.counted") == before + 1
    await page.goto("/waiting")
    await expect(page.get_by_role("heading", name="Anotado desde este aparato")).to_be_visible()
    await page.get_by_text("Lo que se escribió").first.click()
    await check_page(page, "o-waiting-phone-es")


async def test_a_plain_form_does_too_and_keeps_what_is_wrong(
    visitor: Visitor, demo: Served
) -> None:
    page = await visitor("p-02", phone=False, script=False)
    stands = (await asked(demo, STANDING))[-1]
    before = await newest(demo, "stock.counted")
    await page.goto(f"/evening/CORIN/counts?place={stands['place']}&count=stock")
    await page.fill("[name=reason]", "month's end")
    first = page.locator('td.fill input[name$=".counted"]').first
    name = await first.get_attribute("name") or ""
    await first.fill("lots")
    await page.get_by_role("button", name="Record the sheet").click()
    await expect(page.get_by_role("alert")).to_contain_text("Nothing was recorded.")
    await expect(page.locator(f'[name="{name}"]')).to_have_value("lots")
    await expect(page.locator(f'[name="{name}"]')).to_have_attribute("aria-invalid", "true")
    await picture(page, "o-stock-wrong-plain")
    await page.fill(f'[name="{name}"]', "3")
    await page.get_by_role("button", name="Record the sheet").click()
    await expect(page.get_by_role("status")).to_contain_text("1 row recorded.")
    assert await newest(demo, "stock.counted") == before + 1


async def test_paper_with_a_number_is_known_whoever_types_it_again(demo: Served) -> None:
    stands = (await asked(demo, STANDING))[1]
    rows = {"r.0.lot": stands["lot"], "r.0.size": stands["size"], "r.0.place": stands["place"],
            "r.0.pushed": "2"}  # fmt: skip

    async def typed(who: str, entry: str, **more: str) -> Any:
        common = {"date": "2026-11-20", "person": "p-02", "place": stands["place"], "count": "push"}
        return await sent(demo, who, rows | common | {"entry": entry} | more)

    one, other = str(uuid.uuid4()), str(uuid.uuid4())
    verdicts = [
        (await typed("p-02", one, sheet="A-17"))["rows"][0]["verdict"],
        (await typed("manager", other, sheet="A-17"))["rows"][0]["verdict"],
        # Without a number each typing is an entry, and the same entry sent again is known.
        (await typed("p-02", one))["rows"][0]["verdict"],
        (await typed("p-02", one))["rows"][0]["verdict"],
        (await typed("p-02", other))["rows"][0]["verdict"],
    ]
    assert verdicts == ["accepted", "known", "accepted", "known", "accepted"]
    # Twice the same account on a sheet, a row half filled in, an unknown site, no place.
    wrong = await typed("p-02", other, **{"r.x0.lot": "L-1"}, count="push")
    assert [row["errors"][0]["column"] for row in wrong["rows"] if row["errors"]] == [None]


async def test_a_row_far_above_the_book_is_asked_back_alone(visitor: Visitor, demo: Served) -> None:
    first, second, third = (await asked(demo, STANDING))[2:5]
    far = 10 * first["count"] + 20
    page = await visitor("manager", phone=True)
    await page.goto(f"/evening/CORIN/counts?place={first['place']}&count=stock")
    await page.fill("[name=reason]", "month's end")
    mine = page.locator("tbody tr").filter(has=page.locator(f'input[value="{first["lot"]}"]'))
    name = await mine.filter(
        has=page.locator("option[value=pushed][selected]")
    ).first.get_attribute("data-row")
    assert name
    await cell(page, name, "counted").fill(str(far))
    await page.get_by_role("button", name="Record the sheet").click()
    row = page.locator(f'[data-row="{name}"]')
    await expect(row).to_contain_text(f"{far} counted, and the book has")
    await check_page(page, "w-grid-far-phone")
    tick = row.get_by_label("Many more than the book")
    # For another number it is asked anew.
    await tick.check()
    await cell(page, name, "counted").fill(str(far + 1))
    await page.get_by_role("button", name="Record the sheet").click()
    await expect(row).to_contain_text(f"{far + 1} counted, and the book has")
    await cell(page, name, "counted").fill(str(far))
    await page.get_by_role("button", name="Record the sheet").click()
    await tick.check()
    before = await newest(demo, "stock.counted")
    await page.get_by_role("button", name="Record the sheet").click()
    await expect(page.locator("#device")).to_contain_text("1 row recorded.")
    assert await newest(demo, "stock.counted") == before + 1
    # Push counts too; the other row of the sheet is recorded meanwhile.
    form = {"date": "2026-11-20", "person": "p-02", "place": second["place"], "count": "push",
            "entry": str(uuid.uuid4())}  # fmt: skip
    for number, (lot, pushed) in enumerate([(second, "9999"), (third, "1")]):
        cells = {"lot": lot["lot"], "size": lot["size"], "place": lot["place"], "pushed": pushed}
        form |= {f"r.{number}.{column}": value for column, value in cells.items()}
    far, near = (await sent(demo, "p-02", form))["rows"]
    assert (far["verdict"], far["errors"][0]["far"], near["verdict"]) == (
        "refused",
        9999,
        "accepted",
    )
    rows = (await sent(demo, "p-02", form | {"r.0.sure": "9999"}))["rows"]
    assert [row["verdict"] for row in rows] == ["accepted", "known"], rows
