"""The client and the service itself, over a socket."""

import uuid

import pytest
from graftlog_client import Client, problems, said, shapes

from tests.api.conftest import MakeClient


async def test_a_program_reads_changes_and_records(base_url: str, client_for: MakeClient) -> None:
    administrator = await client_for()
    key = administrator.headers["authorization"].removeprefix("Bearer ")
    site = shapes.SiteBody(name="Corin", time_zone="Europe/Madrid", latitude=39.5, longitude=-0.4)
    async with Client(base_url, key) as client:
        await client.put_site("CORIN", site)
        for code in ("C1", "C2", "C3"):
            await client.put_size(code, shapes.SizeBody(label=f"{code} pot"), site="CORIN")
        # A list over all its pages.
        first = await client.list_sizes(limit=1)
        assert first.body.next is not None
        sizes = [item.entry async for item in client.each(first)]
        assert [size.code for size in sizes if isinstance(size, shapes.Size)] == ["C1", "C2", "C3"]
        # What it has already is not sent again; what another has changed is not overwritten.
        kept = await client.get_size("C1")
        assert not (await client.get_size("C1", if_none_match=kept.etag)).changed
        await client.put_size("C1", shapes.SizeBody(label="1 litre"), if_match=kept.etag)
        with pytest.raises(problems.PreconditionFailed):
            await client.put_size("C1", shapes.SizeBody(label="one"), if_match=kept.etag)
        with pytest.raises(problems.NotFound):
            await client.get_size("NONE")
        # One event under one key, however often it is sent.
        place = shapes.PlaceBody(site="CORIN", structure="House 1")
        await client.put_place("T1", place)
        look = shapes.PlaceChecked(
            site="CORIN", occurred="2026-03-14", data=shapes.PlaceCheckedData(place="T1")
        )
        mine = str(uuid.uuid4())
        once = await client.record_events(look, idempotency_key=mine)
        again = await client.record_events(look, idempotency_key=mine)
        assert (once.replayed, again.replayed) == (False, True)
        assert once.body == again.body
        found = [one async for one in client.each(await client.list_events(place="T1"))]
        told = [said(one) for one in found if one.type == "place.checked"]
        assert told == [shapes.PlaceCheckedData(place="T1")]
        # A word that is not the service's is told by it, with where it stands.
        bad = shapes.PlaceChecked(
            site="CORIN", occurred="2026-03-14", data=shapes.PlaceCheckedData(place="none such")
        )
        with pytest.raises(problems.ValidationError) as caught:
            await client.record_events(bad)
        assert caught.value.errors[0].pointer == "#/data/place"
