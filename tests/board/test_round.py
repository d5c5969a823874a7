"""The morning round as people see it: at six, on a telephone, in the sun; and in the office."""

import pytest

from tests.board.conftest import Visitor
from tests.board.looking import check_page


@pytest.mark.parametrize(("who", "phone"), [("manager", True), ("manager", False), ("p-01", True), ("inspector", True), ("desk", False)])
async def test_the_round_leads_to_the_tables(visitor: Visitor, who: str, phone: bool) -> None:
    page = await visitor(who, phone=phone)
    answer = await page.goto("/round")
    assert answer is not None
    assert answer.status == 200
    await check_page(page, f"r-round-{who}-{'phone' if phone else 'desktop'}")
