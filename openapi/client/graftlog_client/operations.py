"""A method for each operation of the service. Written by `make client`: do not edit."""

from typing import Literal

from graftlog_client import shapes
from graftlog_client.calling import Answer, Caller, part
from graftlog_client.shapes import Day, Moment


class Operations(Caller):
    """What the service can be asked and told."""

    async def acknowledge_alert(self, id: str, body: shapes.Acknowledge) -> Answer[shapes.Recorded]:
        """Say that somebody has seen an alert. It is recorded as alert.acknowledged.

        id: A UUID.
        """
        return await self._call(
            "POST",
            f"/v1/alerts/{part(id)}/acknowledge",
            shapes.Recorded,
            body=body,
            media="application/json",
        )

    async def change_reservation(
        self,
        code: str,
        body: shapes.ReservationPatch,
        *,
        if_match: str | None = None,
        idempotency_key: str | None = None,
    ) -> Answer[shapes.ReservationAnswer]:
        """Change what is wanted, by when, where to, until when it counts, or for which order. A
        merge patch (RFC 7396): `null` takes a day, an expiry, an order or a destination
        away. Send the reservation's ETag in If-Match (428 without, 412 when it was changed
        meanwhile). It is judged like a new one; what had expired counts again with another
        expiry, if it can still be promised.

        code: A code.
        if_match: The ETag of the version that is changed.
        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "PATCH",
            f"/v1/reservations/{part(code)}",
            shapes.ReservationAnswer,
            body=body,
            media="application/merge-patch+json",
            headers={"If-Match": if_match, "Idempotency-Key": idempotency_key},
        )

    async def confirm_reservation(
        self,
        code: str,
        body: shapes.Confirm,
        *,
        if_match: str | None = None,
        idempotency_key: str | None = None,
    ) -> Answer[shapes.ReservationAnswer]:
        """Confirm a reservation: the customer has ordered, and it expires no more. One that had
        expired is judged like a new one, for what it held may be another's by now: 409 when
        it can't be promised any more. Confirmed already it is refused, unless another order
        is named. If-Match is heeded when it is sent.

        code: A code.
        if_match: The ETag of the version that is changed.
        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            f"/v1/reservations/{part(code)}/confirm",
            shapes.ReservationAnswer,
            body=body,
            media="application/json",
            headers={"If-Match": if_match, "Idempotency-Key": idempotency_key},
        )

    async def correct_refused(
        self,
        number: str,
        body: shapes.Event,
        *,
        check: bool | None = None,
        idempotency_key: str | None = None,
    ) -> Answer[shapes.Recorded]:
        """Send the event anew, corrected. It keeps its event id and is judged like any event.
        201 when it is recorded, by you; who sent it first stays known here. Refused again,
        it is 409 with the reasons, your correction is kept, and the item stays open with one
        attempt more. What had no readable id, or another event's, gets a new one.

        number: Its number in the list.
        check: true: judge it and store nothing.
        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            f"/v1/to-put-right/{part(number)}/correct",
            shapes.Recorded,
            body=body,
            media="application/json",
            query={"check": check},
            headers={"Idempotency-Key": idempotency_key},
        )

    async def discard_refused(
        self, number: str, body: shapes.Discard
    ) -> Answer[shapes.PutRightWhole]:
        """Let it go, with a reason. Nothing is deleted: what was sent stays, with who let it
        go. The same once more by the same person changes nothing, so a retry is safe.

        number: Its number in the list.
        """
        return await self._call(
            "POST",
            f"/v1/to-put-right/{part(number)}/discard",
            shapes.PutRightWhole,
            body=body,
            media="application/json",
        )

    async def erase_contact(self, reference: str, *, if_match: str | None = None) -> Answer[None]:
        """Erase who stands behind a reference, at once and for good. Events keep the bare
        reference, and read as before. No copy is kept; backups made earlier hold it until
        they are let go. With If-Match only the version that was read is erased.

        reference: A reference, as events name it.
        if_match: The ETag of the version that is changed.
        """
        return await self._call(
            "DELETE", f"/v1/contacts/{part(reference)}", None, headers={"If-Match": if_match}
        )

    async def get_alert(
        self, id: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.AlertRow]:
        """One alert.

        id: A UUID.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/alerts/{part(id)}",
            shapes.AlertRow,
            headers={"If-None-Match": if_none_match},
        )

    async def get_budwood_lot(
        self,
        code: str,
        *,
        as_of: str | None = None,
        known_at: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Lot]:
        """One budwood lot with what stands of it and its history in order of occurrence, now or
        as it was. The header Graftlog-Position says what the log has come to.

        code: A code.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/budwood-lots/{part(code)}",
            shapes.Lot,
            query={"as_of": as_of, "known_at": known_at},
            headers={"If-None-Match": if_none_match},
        )

    async def get_budwood_lot_lineage(
        self,
        code: str,
        *,
        min_position: int | None = None,
        direction: Literal["back", "forward"] | None = None,
        prefer: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Trace]:
        """What a budwood lot came of, or all that came of it, and where that is now.

        code: A code.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        direction: back: to the source trees. forward: all that came of it.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/budwood-lots/{part(code)}/lineage",
            shapes.Trace,
            query={"min_position": min_position, "direction": direction},
            headers={"Prefer": prefer, "If-None-Match": if_none_match},
        )

    async def get_calendar(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.Calendar]:
        """One of your calendars. Its ETag is needed to change it.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/calendars/{part(code)}",
            shapes.Calendar,
            headers={"If-None-Match": if_none_match},
        )

    async def get_check_plan(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.CatalogueItem]:
        """One check plan. Its ETag is the position of its last change.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/check-plans/{part(code)}",
            shapes.CatalogueItem,
            headers={"If-None-Match": if_none_match},
        )

    async def get_contact(
        self, reference: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.Contact]:
        """Who stands behind a reference. Its ETag is needed to change it.

        reference: A reference, as events name it.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/contacts/{part(reference)}",
            shapes.Contact,
            headers={"If-None-Match": if_none_match},
        )

    async def get_count_sheet_csv(
        self,
        *,
        place: str,
        count: Literal["push", "stock"] | None = None,
        day: Day | None = None,
        sheet: str | None = None,
    ) -> Answer[str]:
        """The count sheet's rows as CSV with the columns of the sheet `counts`. Fill in what
        was counted (in a stock count with the reason) and import it: rows without are
        skipped.

        place: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        count: stock: all that stands there, by lot, size, stage and grade. push: trees that
          are not ready, by lot and size: pushed, waiting, failed.
        day: Left out: today at the site.
        sheet: A number for the paper, printed on it and in every row. Rows of two sheets
          that are otherwise alike are told apart by it.
        """
        return await self._call(
            "GET",
            "/v1/count-sheet.csv",
            str,
            query={"place": place, "count": count, "day": day, "sheet": sheet},
        )

    async def get_cultivar(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.CatalogueItem]:
        """One cultivar. Its ETag is the position of its last change.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/cultivars/{part(code)}",
            shapes.CatalogueItem,
            headers={"If-None-Match": if_none_match},
        )

    async def get_day_sheet_csv(
        self,
        *,
        site: str,
        grafter: str | None = None,
        day: Day | None = None,
        sheet: str | None = None,
    ) -> Answer[str]:
        """The day sheet's rows as CSV with the columns of the sheet `grafting`. Fill in grafter
        and count and import it: rows without them are skipped.

        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        grafter: A grafter: orders that name them, or name nobody.
        day: What is late, what wood keeps and what is held is judged by it. Left out: today
          at the site. What is done is by the books of now.
        sheet: A number for the paper, printed on it and in every row. Rows of two sheets
          that are otherwise alike are told apart by it.
        """
        return await self._call(
            "GET",
            "/v1/day-sheet.csv",
            str,
            query={"site": site, "grafter": grafter, "day": day, "sheet": sheet},
        )

    async def get_event(
        self, id: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.StoredEvent]:
        """One recorded event. A stored event never changes; only `voided_by` can still be set,
        once. With `Accept: application/cloudevents+json` it comes as a CloudEvent 1.0.
        Without, it is one too, in HTTP's binary mode: the rest of it is in headers that
        begin with `ce-`.

        id: A UUID.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/events/{part(id)}",
            shapes.StoredEvent,
            headers={"If-None-Match": if_none_match},
        )

    async def get_grafting_list(
        self, *, site: str, grafter: str | None = None, day: Day | None = None
    ) -> Answer[shapes.GraftingList]:
        """The grafting to do at a site: which orders, where the liners stand, which bags to
        take. Bags and liners are given out once, order by order, what keeps shortest first.
        With `grafter` only the orders that name them or nobody are shown; the others keep
        their bags.

        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        grafter: A grafter: orders that name them, or name nobody.
        day: What is late, what wood keeps and what is held is judged by it. Left out: today
          at the site. What is done is by the books of now.
        """
        return await self._call(
            "GET",
            "/v1/grafting-list",
            shapes.GraftingList,
            query={"site": site, "grafter": grafter, "day": day},
        )

    async def get_liner_lot(
        self,
        code: str,
        *,
        as_of: str | None = None,
        known_at: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Lot]:
        """One liner lot with what stands of it and its history in order of occurrence, now or
        as it was. The header Graftlog-Position says what the log has come to.

        code: A code.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/liner-lots/{part(code)}",
            shapes.Lot,
            query={"as_of": as_of, "known_at": known_at},
            headers={"If-None-Match": if_none_match},
        )

    async def get_liner_lot_lineage(
        self,
        code: str,
        *,
        min_position: int | None = None,
        direction: Literal["back", "forward"] | None = None,
        prefer: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Trace]:
        """What a liner lot came of, or all that came of it, and where that is now.

        code: A code.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        direction: back: to the source trees. forward: all that came of it.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/liner-lots/{part(code)}/lineage",
            shapes.Trace,
            query={"min_position": min_position, "direction": direction},
            headers={"Prefer": prefer, "If-None-Match": if_none_match},
        )

    async def get_loading_list(self, id: str, *, if_none_match: str | None = None) -> Answer[str]:
        """What to fetch for a sale, as CSV to print: by structure and place, in order. Of a
        sale that was voided there is nothing to fetch.

        id: A UUID.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/sales/{part(id)}/loading-list",
            str,
            headers={"If-None-Match": if_none_match},
        )

    async def get_losses(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        group_by: list[
            Literal[
                "cause", "cultivar", "day", "lot", "month", "rootstock", "site", "stage", "year"
            ]
        ]
        | None = None,
        site: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        lot: str | None = None,
        stage: Literal["budwood", "failed", "grafted", "liners", "not_told", "pushed", "ready"]
        | None = None,
        cause: Literal[
            "breakage",
            "culled",
            "cutting_waste",
            "damaged",
            "dead_on_arrival",
            "dead_scion",
            "dead_stock",
            "disease",
            "dried",
            "drought",
            "frost",
            "girdled",
            "heat",
            "left_over",
            "mould",
            "other",
            "pest",
            "source_failed",
            "unknown",
            "waterlogging",
        ]
        | None = None,
        first: Day | None = None,
        last: Day | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.PageOfLossRow]:
        """Losses by groups: of what cause, at which stage, when. Culled is told apart from
        dead.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        group_by: Groups, separated by commas; by cause when left out.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cause: A short lower-case word.
        first: Lost on this day or later.
        last: Lost on this day or earlier.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/losses",
            shapes.PageOfLossRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "group_by": group_by,
                "site": site,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "lot": lot,
                "stage": stage,
                "cause": cause,
                "first": first,
                "last": last,
            },
            headers={"Prefer": prefer},
        )

    async def get_paper_tags(
        self,
        id: str,
        *,
        sheet: Literal[
            "a4-10",
            "a4-21",
            "a4-24",
            "letter-10",
            "letter-30",
            "roll-100x50",
            "roll-60x60",
            "roll-70x40",
        ]
        | None = None,
        page_width: float | None = None,
        page_height: float | None = None,
        width: float | None = None,
        height: float | None = None,
        columns: int | None = None,
        rows: int | None = None,
        left: float | None = None,
        top: float | None = None,
        gap_x: float | None = None,
        gap_y: float | None = None,
        edge: float | None = None,
        skip: int | None = None,
        language: Literal["en", "es"] | None = None,
        if_none_match: str | None = None,
    ) -> Answer[bytes]:
        """The papers of a printing as PDF, each with its running number. They are the same
        however often they are fetched, as after a jam; what would be refused if it were
        printed now (a hold was placed since, the inspection has run out) is refused here
        too.

        id: A UUID.
        sheet: Page and tags in a row and a column: a4-24 is A4 with 24 tags of 70 × 37 mm; a
          roll has one tag a page. The measures below, in millimetres, change it.
        page_width: Millimetres.
        page_height: Millimetres.
        width: Of a tag.
        height: Of a tag.
        left: Before the first tag.
        top: Above the first tag.
        gap_x: Between tags.
        gap_y: Between tags.
        edge: Along the page, where nothing is printed.
        skip: Tags of the first page that are used already.
        language: Of the words on the tags.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/papers/{part(id)}/tags.pdf",
            bytes,
            query={
                "sheet": sheet,
                "page_width": page_width,
                "page_height": page_height,
                "width": width,
                "height": height,
                "columns": columns,
                "rows": rows,
                "left": left,
                "top": top,
                "gap_x": gap_x,
                "gap_y": gap_y,
                "edge": edge,
                "skip": skip,
                "language": language,
            },
            headers={"If-None-Match": if_none_match},
        )

    async def get_papers(
        self, id: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.Printing]:
        """One printing: which papers for what, how many, by whom, and what they say.

        id: A UUID.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/papers/{part(id)}",
            shapes.Printing,
            headers={"If-None-Match": if_none_match},
        )

    async def get_person(
        self, reference: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.PersonShown]:
        """One person. The ETag is needed to change them.

        reference: A reference, as events name it.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/people/{part(reference)}",
            shapes.PersonShown,
            headers={"If-None-Match": if_none_match},
        )

    async def get_place(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.CatalogueItem]:
        """One place. Its ETag is the position of its last change.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/places/{part(code)}",
            shapes.CatalogueItem,
            headers={"If-None-Match": if_none_match},
        )

    async def get_progress(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.Progress]:
        """How far a webhook has come, and whether its receiver takes what is sent.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/webhooks/{part(code)}/progress",
            shapes.Progress,
            headers={"If-None-Match": if_none_match},
        )

    async def get_readings(
        self,
        code: str,
        *,
        version: int | None = None,
        first: Day | None = None,
        last: Day | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.ReadingsRecord]:
        """How much of each day a site's loggers read, and what counts for it; at most 400 days.
        As known now or at an earlier version. Days without any reading are left out.

        code: A code.
        version: As known at this version of the readings. Left out: now.
        first: From this day on. Left out: a month up to the last.
        last: Up to this day. Left out: today.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/sites/{part(code)}/readings",
            shapes.ReadingsRecord,
            query={"version": version, "first": first, "last": last},
            headers={"If-None-Match": if_none_match},
        )

    async def get_reservation(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.ReservationNow]:
        """One reservation as it stands. Its ETag is the position of its last change, and its
        expiry.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/reservations/{part(code)}",
            shapes.ReservationNow,
            headers={"If-None-Match": if_none_match},
        )

    async def get_rootstock(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.CatalogueItem]:
        """One rootstock. Its ETag is the position of its last change.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/rootstocks/{part(code)}",
            shapes.CatalogueItem,
            headers={"If-None-Match": if_none_match},
        )

    async def get_round(self, *, site: str) -> Answer[shapes.Morning]:
        """What must be looked at today at a site, in the order of urgency. Closed houses,
        loggers and frost, tables with their checks and how late these are in days and in
        degree-days, wood that will not keep, what comes this week and what was done. What
        was not recorded is not told, and that never means that a house is safe.

        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        """
        return await self._call("GET", "/v1/round", shapes.Morning, query={"site": site})

    async def get_rule(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.CatalogueItem]:
        """One rule. Its ETag is the position of its last change.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/rules/{part(code)}",
            shapes.CatalogueItem,
            headers={"If-None-Match": if_none_match},
        )

    async def get_sale(self, id: str, *, if_none_match: str | None = None) -> Answer[shapes.Sale]:
        """One sale: each line with its provenance for invoice and plant passport, and what to
        load. What nobody told is listed as unknown.

        id: A UUID.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET", f"/v1/sales/{part(id)}", shapes.Sale, headers={"If-None-Match": if_none_match}
        )

    async def get_schema(self, schema: str, *, if_none_match: str | None = None) -> Answer[str]:
        """The JSON Schema of a stored event of a type, as `dataschema` of its CloudEvents names
        it.

        schema: An event type and a version.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET", f"/v1/schemas/{part(schema)}", str, headers={"If-None-Match": if_none_match}
        )

    async def get_sheet(
        self, name: str, *, examples: bool | None = None, if_none_match: str | None = None
    ) -> Answer[str]:
        """A sheet's template as CSV: its header, and example rows to overwrite.

        name: The sheet's name.
        examples: false: only the header.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/sheets/{part(name)}",
            str,
            query={"examples": examples},
            headers={"If-None-Match": if_none_match},
        )

    async def get_site(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.CatalogueItem]:
        """One site. Its ETag is the position of its last change.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/sites/{part(code)}",
            shapes.CatalogueItem,
            headers={"If-None-Match": if_none_match},
        )

    async def get_size(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.CatalogueItem]:
        """One size. Its ETag is the position of its last change.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/sizes/{part(code)}",
            shapes.CatalogueItem,
            headers={"If-None-Match": if_none_match},
        )

    async def get_source_tree(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.CatalogueItem]:
        """One source tree. Its ETag is the position of its last change.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/source-trees/{part(code)}",
            shapes.CatalogueItem,
            headers={"If-None-Match": if_none_match},
        )

    async def get_source_tree_lineage(
        self,
        code: str,
        *,
        min_position: int | None = None,
        prefer: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Trace]:
        """All that came of a source tree, and where it is now.

        code: A code.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/source-trees/{part(code)}/lineage",
            shapes.Trace,
            query={"min_position": min_position},
            headers={"Prefer": prefer, "If-None-Match": if_none_match},
        )

    async def get_stock(
        self,
        *,
        group_by: list[
            Literal["cultivar", "grade", "lot", "place", "rootstock", "site", "size", "stage"]
        ]
        | None = None,
        site: str | None = None,
        place: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        size: str | None = None,
        stage: Literal["failed", "grafted", "pushed", "ready"] | None = None,
        grade: str | None = None,
        lot: str | None = None,
        kind: Literal["bag", "liners", "transit", "trees"] | None = None,
        as_of: str | None = None,
        known_at: str | None = None,
    ) -> Answer[shapes.StockAnswer]:
        """Stock in groups: bags (buds), liners, trees and what is in transit. Answered from the
        books themselves, so it never lags. `as_of` asks for a past day, `known_at` for what
        was known then; both may be given.

        group_by: Groups, separated by commas; by site when left out.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        place: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        size: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        grade: The grade the site uses; `ungraded` names trees without one where graded ones
          stand beside them.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        """
        return await self._call(
            "GET",
            "/v1/stock",
            shapes.StockAnswer,
            query={
                "group_by": group_by,
                "site": site,
                "place": place,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "size": size,
                "stage": stage,
                "grade": grade,
                "lot": lot,
                "kind": kind,
                "as_of": as_of,
                "known_at": known_at,
            },
        )

    async def get_stock_by_day(
        self,
        *,
        first: Day,
        last: Day,
        min_position: int | None = None,
        group_by: list[Literal["cultivar", "grade", "rootstock", "site", "size", "stage"]]
        | None = None,
        site: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        size: str | None = None,
        stage: Literal["failed", "grafted", "pushed", "ready"] | None = None,
        grade: str | None = None,
        kind: Literal["bag", "customer", "discarded", "liners", "lost", "transit", "trees", "used"]
        | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.StockByDayAnswer]:
        """How stock went, day by day: for history and charts. Days without a change are left
        out.

        first: From the end of this day.
        last: To the end of this day.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        group_by: Groups, separated by commas; by site when left out.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        size: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        grade: The grade the site uses; `ungraded` names trees without one where graded ones
          stand beside them.
        kind: Left out: what is in the nursery.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/stock/by-day",
            shapes.StockByDayAnswer,
            query={
                "first": first,
                "last": last,
                "min_position": min_position,
                "group_by": group_by,
                "site": site,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "size": size,
                "stage": stage,
                "grade": grade,
                "kind": kind,
            },
            headers={"Prefer": prefer},
        )

    async def get_tags(
        self,
        *,
        of: Literal["bags", "lots", "places"],
        sheet: Literal[
            "a4-10",
            "a4-21",
            "a4-24",
            "letter-10",
            "letter-30",
            "roll-100x50",
            "roll-60x60",
            "roll-70x40",
        ]
        | None = None,
        page_width: float | None = None,
        page_height: float | None = None,
        width: float | None = None,
        height: float | None = None,
        columns: int | None = None,
        rows: int | None = None,
        left: float | None = None,
        top: float | None = None,
        gap_x: float | None = None,
        gap_y: float | None = None,
        edge: float | None = None,
        skip: int | None = None,
        language: Literal["en", "es"] | None = None,
        codes: list[str] | None = None,
        site: str | None = None,
        place: str | None = None,
        structure: str | None = None,
        copies: int | None = None,
    ) -> Answer[bytes]:
        """Tags for places, lots or bags as a PDF: a QR code that opens the thing's page, its
        code in letters, and what it is. A module of a code is never smaller than half a
        millimetre; where that or the text does not fit, the answer is 422 and says what is
        needed. Letters that no font here has are written by the nearest that it has, else as
        a question mark.

        of: Left without codes: all places in use, all lots of which something stands, all
          bags with something left.
        sheet: Page and tags in a row and a column: a4-24 is A4 with 24 tags of 70 × 37 mm; a
          roll has one tag a page. The measures below, in millimetres, change it.
        page_width: Millimetres.
        page_height: Millimetres.
        width: Of a tag.
        height: Of a tag.
        left: Before the first tag.
        top: Above the first tag.
        gap_x: Between tags.
        gap_y: Between tags.
        edge: Along the page, where nothing is printed.
        skip: Tags of the first page that are used already.
        language: Of the words on the tags.
        codes: Of these alone.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        place: Of lots and bags: what stands there.
        structure: Of places: those in this house.
        copies: Of each.
        """
        return await self._call(
            "GET",
            "/v1/tags.pdf",
            bytes,
            query={
                "of": of,
                "sheet": sheet,
                "page_width": page_width,
                "page_height": page_height,
                "width": width,
                "height": height,
                "columns": columns,
                "rows": rows,
                "left": left,
                "top": top,
                "gap_x": gap_x,
                "gap_y": gap_y,
                "edge": edge,
                "skip": skip,
                "language": language,
                "codes": codes,
                "site": site,
                "place": place,
                "structure": structure,
                "copies": copies,
            },
        )

    async def get_take(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        group_by: list[
            Literal[
                "attempt",
                "cultivar",
                "grafter",
                "lot",
                "method",
                "month",
                "rootstock",
                "season",
                "site",
            ]
        ]
        | None = None,
        site: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
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
        | None = None,
        lot: str | None = None,
        attempt: int | None = None,
        grafter: str | None = None,
        grafted_from: Day | None = None,
        grafted_to: Day | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.PageOfTakeRow]:
        """Take and saleable of grafted, by groups, with counts and 95 % intervals. The take is
        what was alive of what was read when the wrap came off; what was not read yet, or
        went before, is told beside it and never counted as taken or failed. A push is not a
        take. Saleable of grafted is another number: what reached `ready` of all that was
        grafted. The take is read for whole lots: of a lot that several people grafted it is
        attributed to none of them.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        group_by: Groups, separated by commas; by site when left out. `grafter` needs the
          scope grafters:read.
        site: Where it was grafted.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        method: Method of grafting or budding, in trade terms.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        attempt: 1: the first grafting; 2: a regraft …
        grafter: Needs the scope grafters:read.
        grafted_from: Grafted on this day or later.
        grafted_to: Grafted on this day or earlier.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/take",
            shapes.PageOfTakeRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "group_by": group_by,
                "site": site,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "method": method,
                "lot": lot,
                "attempt": attempt,
                "grafter": grafter,
                "grafted_from": grafted_from,
                "grafted_to": grafted_to,
            },
            headers={"Prefer": prefer},
        )

    async def get_temperatures(
        self,
        code: str,
        *,
        version: int | None = None,
        first: Day | None = None,
        last: Day | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.TemperatureRecord]:
        """A site's daily temperatures as known now or at an earlier version.

        code: A code.
        version: As known at this version of the record. Left out: now.
        first: From this day on.
        last: Up to this day.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/sites/{part(code)}/temperatures",
            shapes.TemperatureRecord,
            query={"version": version, "first": first, "last": last},
            headers={"If-None-Match": if_none_match},
        )

    async def get_temperatures_ahead(
        self, code: str, *, version: int | None = None, if_none_match: str | None = None
    ) -> Answer[shapes.GivenAhead]:
        """The weather forecast that was given last for a site's next days, or an earlier
        version.

        code: A code.
        version: As known at this version. Left out: now.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/sites/{part(code)}/temperatures/ahead",
            shapes.GivenAhead,
            query={"version": version},
            headers={"If-None-Match": if_none_match},
        )

    async def get_to_put_right(
        self, number: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.PutRightWhole]:
        """One of them: what was sent, why it was refused, and what would settle each reason.
        Beside it who sent it and when, how often, and whatever was sent for it before.

        number: Its number in the list.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/to-put-right/{part(number)}",
            shapes.PutRightWhole,
            headers={"If-None-Match": if_none_match},
        )

    async def get_tree_lot(
        self,
        code: str,
        *,
        as_of: str | None = None,
        known_at: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Lot]:
        """One tree lot with what stands of it and its history in order of occurrence, now or as
        it was. The header Graftlog-Position says what the log has come to.

        code: A code.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/tree-lots/{part(code)}",
            shapes.Lot,
            query={"as_of": as_of, "known_at": known_at},
            headers={"If-None-Match": if_none_match},
        )

    async def get_tree_lot_lineage(
        self,
        code: str,
        *,
        min_position: int | None = None,
        direction: Literal["back", "forward"] | None = None,
        prefer: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Trace]:
        """What a tree lot came of, or all that came of it, and where that is now.

        code: A code.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        direction: back: to the source trees. forward: all that came of it.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/tree-lots/{part(code)}/lineage",
            shapes.Trace,
            query={"min_position": min_position, "direction": direction},
            headers={"Prefer": prefer, "If-None-Match": if_none_match},
        )

    async def get_webhook(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.Webhook]:
        """One webhook as it is set. Its ETag is needed to change it.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/webhooks/{part(code)}",
            shapes.Webhook,
            headers={"If-None-Match": if_none_match},
        )

    async def get_work_order(
        self, code: str, *, if_none_match: str | None = None
    ) -> Answer[shapes.WorkOrderNow]:
        """One work order: what is done of it, by lot and grafter, and which bags and liners
        fit. Bags are those on hand at the site, of its cultivar, that no hold blocks; what
        keeps shortest comes first, and wood past its usual time is marked and not given out.
        Its ETag moves with the log and with the site's day, since what fits does.

        code: A code.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/work-orders/{part(code)}",
            shapes.WorkOrderNow,
            headers={"If-None-Match": if_none_match},
        )

    async def list_alerts(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        site: str | None = None,
        lot: str | None = None,
        place: str | None = None,
        kind: Literal[
            "breach",
            "shortfall",
            "count_differs",
            "consignment_differs",
            "old_budwood",
            "short_bag",
            "sold_meanwhile",
            "unusual_take",
            "outside_reservation",
            "overdue_check",
            "place_not_looked_at",
            "view_fault",
            "to_put_right",
            "shortfall_risk",
            "webhook_stopped",
            "mail_failed",
            "temperature_out_of_range",
            "frost_ahead",
            "budwood_expiring",
            "logger_silent",
        ]
        | None = None,
        state: Literal["acknowledged", "closed", "open", "remind_on"] | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.PageOfAlertRow]:
        """List alerts, newest first: overdue checks, places nobody looked at, breaches,
        differences. An alert about a check ends when the check is recorded.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        place: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        state: `open` is what wants somebody now. Left out: all, closed ones too.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/alerts",
            shapes.PageOfAlertRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "site": site,
                "lot": lot,
                "place": place,
                "kind": kind,
                "state": state,
            },
            headers={"Prefer": prefer},
        )

    async def list_availability(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        goods: Literal["buds", "trees"] | None = None,
        site: str | None = None,
        size: str | None = None,
        grade: str | None = None,
        by_grade: bool | None = None,
        any_site: bool | None = None,
        date: Day | None = None,
        until: Day | None = None,
        quantity: int | None = None,
        available: bool | None = None,
        destination: list[str] | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Availability]:
        """List how many of each item can be reserved, today and from which day on another
        number. Made for a shop that asks often: send the last ETag in If-None-Match, and the
        answer is 304 until a number of this very answer changes. A number is what the log
        would decide at the moment of asking, at most five seconds old; a reservation
        recorded by the same process is in it at once. Nothing is set aside by asking:
        reserve, and the log decides. Available is not the same as free to send: give a
        `destination` and each row says what the nursery's rules say of it.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        goods: Whole trees, or buds of a cultivar.
        site: Left out: each site that is seen.
        size: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        grade: Only rows of this grade. Left out: rows of any grade.
        by_grade: A row for each grade in place of one for any grade.
        any_site: Rows of all sites together, for reservations with `any_site`. Told to keys
          of every site.
        date: For this day. Left out: today.
        until: Changes up to this day. Left out: 91 days.
        quantity: How many are wanted.
        available: true: no rows of which none can be reserved, then or later.
        destination: Where it is to go: all that the place lies in, with commas: country or
          part of one (ISO 3166: ES, US-CA), and regulated areas as the nursery names them.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            "/v1/availability",
            shapes.Availability,
            query={
                "limit": limit,
                "cursor": cursor,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "goods": goods,
                "site": site,
                "size": size,
                "grade": grade,
                "by_grade": by_grade,
                "any_site": any_site,
                "date": date,
                "until": until,
                "quantity": quantity,
                "available": available,
                "destination": destination,
            },
            headers={"If-None-Match": if_none_match},
        )

    async def list_budwood(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        site: str | None = None,
        place: str | None = None,
        cultivar: str | None = None,
        lot: str | None = None,
        bag: str | None = None,
        past_use_by: bool | None = None,
        as_of: str | None = None,
        known_at: str | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.ClockedPageOfBudwoodRow]:
        """List budwood on hand, first the one to be used next: buds left, age, keeping time.
        Age and keeping time are told for the site's day now, or for the day of `as_of`.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        place: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        bag: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        past_use_by: true: only wood past its day; false: only the rest.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/budwood",
            shapes.ClockedPageOfBudwoodRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "site": site,
                "place": place,
                "cultivar": cultivar,
                "lot": lot,
                "bag": bag,
                "past_use_by": past_use_by,
                "as_of": as_of,
                "known_at": known_at,
            },
            headers={"Prefer": prefer},
        )

    async def list_budwood_lots(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        site: str | None = None,
        on_hand: bool | None = None,
        as_of: str | None = None,
        known_at: str | None = None,
    ) -> Answer[shapes.ClockedPageOfLotSummary]:
        """List the budwood lots by code, with how much of each is on hand, now or as it was.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        site: Lots that stood there once; counts are the site's.
        on_hand: true: only lots of which something stands.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        """
        return await self._call(
            "GET",
            "/v1/budwood-lots",
            shapes.ClockedPageOfLotSummary,
            query={
                "limit": limit,
                "cursor": cursor,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "site": site,
                "on_hand": on_hand,
                "as_of": as_of,
                "known_at": known_at,
            },
        )

    async def list_calendars(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCalendar]:
        """List your calendars by code: those made under the name of your key, or by you as a
        person.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET", "/v1/calendars", shapes.PageOfCalendar, query={"limit": limit, "cursor": cursor}
        )

    async def list_check_plans(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCatalogueItem]:
        """List the check plans by code.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET",
            "/v1/check-plans",
            shapes.PageOfCatalogueItem,
            query={"limit": limit, "cursor": cursor},
        )

    async def list_checks(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        site: str | None = None,
        place: str | None = None,
        lot: str | None = None,
        check: str | None = None,
        state: Literal["due", "overdue", "upcoming"] | None = None,
        as_of: str | None = None,
        known_at: str | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.ClockedPageOfCheckRow]:
        """List checks by the day they are due: for a lot at a place, or a look at a whole
        place. Due and overdue go by the site's own calendar day, now or as of `as_of`.
        Nothing recorded is never shown as done.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        place: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        check: Its name; `look` for looks at whole places.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/checks",
            shapes.ClockedPageOfCheckRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "site": site,
                "place": place,
                "lot": lot,
                "check": check,
                "state": state,
                "as_of": as_of,
                "known_at": known_at,
            },
            headers={"Prefer": prefer},
        )

    async def list_contacts(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        kind: Literal["customer", "person"] | None = None,
    ) -> Answer[shapes.PageOfContact]:
        """List the contacts of the key's sites by reference.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        kind: Left out: both.
        """
        return await self._call(
            "GET",
            "/v1/contacts",
            shapes.PageOfContact,
            query={"limit": limit, "cursor": cursor, "kind": kind},
        )

    async def list_crops(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCropRow]:
        """List crops with the thresholds that their degree-days are counted between, by name. A
        rule of the catalogue with `degree_days` states the nursery's own. The weak figures
        are what a forecast leans on until the nursery's own counts carry it.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET", "/v1/crops", shapes.PageOfCropRow, query={"limit": limit, "cursor": cursor}
        )

    async def list_cultivars(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCatalogueItem]:
        """List the cultivars by code.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET",
            "/v1/cultivars",
            shapes.PageOfCatalogueItem,
            query={"limit": limit, "cursor": cursor},
        )

    async def list_deliveries(
        self,
        code: str,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        outcome: Literal["answered", "arrived", "cut_off", "refused", "timeout", "unreachable"]
        | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.PageOfDelivery]:
        """List every attempt of the last seven days, the newest first. Bodies are not kept.

        code: A code.
        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/webhooks/{part(code)}/deliveries",
            shapes.PageOfDelivery,
            query={"limit": limit, "cursor": cursor, "outcome": outcome},
            headers={"If-None-Match": if_none_match},
        )

    async def list_destinations(
        self,
        *,
        destination: list[str],
        limit: int | None = None,
        cursor: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        goods: Literal["buds", "trees"] | None = None,
        site: str | None = None,
    ) -> Answer[shapes.Destinations]:
        """List what the nursery's rules say of sending its goods to a place. For each site what
        it has on its availability list: allowed, not allowed, or ask your authority, with
        the rule, its source and the day it is of. No advice: rules are what somebody wrote
        down, and who answers for plant health there decides. Where no rule speaks the answer
        is to ask.

        destination: Where it is to go: all that the place lies in, with commas: country or
          part of one (ISO 3166: ES, US-CA), and regulated areas as the nursery names them.
        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        goods: Whole trees, or buds of a cultivar.
        site: Left out: each site that is seen.
        """
        return await self._call(
            "GET",
            "/v1/destinations",
            shapes.Destinations,
            query={
                "destination": destination,
                "limit": limit,
                "cursor": cursor,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "goods": goods,
                "site": site,
            },
        )

    async def list_devices(
        self,
        reference: str,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.PageOfDevice]:
        """List where a person is signed in: twenty devices at most, the one seen last first.

        reference: A reference, as events name it.
        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "GET",
            f"/v1/people/{part(reference)}/devices",
            shapes.PageOfDevice,
            query={"limit": limit, "cursor": cursor},
            headers={"If-None-Match": if_none_match},
        )

    async def list_events(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        lot: str | None = None,
        place: str | None = None,
        site: str | None = None,
        type: list[
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
            ]
        ]
        | None = None,
        after: int | None = None,
        from_: str | None = None,
        to: str | None = None,
        order: Literal["position"] | None = None,
    ) -> Answer[shapes.EventPage]:
        """List recorded events in the order of the log. Positions are dense and in commit
        order, so who follows by position misses nothing: go on with `next` while there is
        one, and later with `after`. With `Accept: application/cloudevents-batch+json` the
        answer is a batch of CloudEvents 1.0; then `next` is in the header Link and `after`
        in Graftlog-After.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        lot: Only events that speak of this lot.
        place: Only events that speak of this place.
        site: Only events that touch this site.
        type: Only events of this type, or of these.
        after: Only events after this position: `after` of the last page that you have. So
          the log is followed: ask again, whenever you like.
        from_: Occurred on this day or later; with a time, at that instant or later.
        to: Occurred on this day or earlier; with a time, before that instant.
        order: The order they were recorded in.
        """
        return await self._call(
            "GET",
            "/v1/events",
            shapes.EventPage,
            query={
                "limit": limit,
                "cursor": cursor,
                "lot": lot,
                "place": place,
                "site": site,
                "type": type,
                "after": after,
                "from": from_,
                "to": to,
                "order": order,
            },
        )

    async def list_growth(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        site: str | None = None,
        lot: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
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
        | None = None,
        outcome: Literal["culled", "dead", "gone", "growing", "ready", "ready_dead", "ready_gone"]
        | None = None,
        size: str | None = None,
        grade: str | None = None,
        grafted_from: Day | None = None,
        grafted_to: Day | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.PageOfGrowthRow]:
        """List when pushed trees were ready, as far as gradings can tell, or what took them
        before. Nobody sees a tree become fit for sale: a grading finds that it is. So each
        row says after which day and by which day so many trees of a lot became ready, or
        until when they were known not to be. It is the input of a fit of the time from push
        to ready, and of survival. Every pushed tree of a lot is in one row that is not
        `ready_dead` or `ready_gone`.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        site: Where they ended, or stand.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        method: Method of grafting or budding, in trade terms.
        size: As they ended, or stand.
        grade: The grade the site uses; `ungraded` names trees without one where graded ones
          stand beside them.
        grafted_from: Grafted on this day or later.
        grafted_to: Grafted on this day or earlier.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/growth",
            shapes.PageOfGrowthRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "site": site,
                "lot": lot,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "method": method,
                "outcome": outcome,
                "size": size,
                "grade": grade,
                "grafted_from": grafted_from,
                "grafted_to": grafted_to,
            },
            headers={"Prefer": prefer},
        )

    async def list_holds(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        in_force: bool | None = None,
        kind: Literal["identity", "licence", "other", "plant_health", "quality"] | None = None,
    ) -> Answer[shapes.PageOfHoldNow]:
        """List holds by code. The service never lifts a plant-health hold by itself.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        in_force: false: those that were lifted as well.
        kind: What the hold is for. Plant-health holds block use, moves, sales and throwing
          away; the others block sales. A plant-health hold is lifted only by the word of the
          authority that may do so.
        """
        return await self._call(
            "GET",
            "/v1/holds",
            shapes.PageOfHoldNow,
            query={"limit": limit, "cursor": cursor, "in_force": in_force, "kind": kind},
        )

    async def list_learned(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        crop: str | None = None,
        what: Literal[
            "never_pushes", "push", "push_from_forcing", "ready", "survival", "take", "unfit"
        ]
        | None = None,
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
        | None = None,
        site: str | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.PageOfLearnedRow]:
        """List what the nursery's own counts taught of each crop: times, shares, how wide, and
        n. Where counts are few it says what it borrows, and from whom. Degree-days hold for
        the way of counting that is told beside them, and for no other.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        crop: A short lower-case word.
        method: Method of grafting or budding, in trade terms.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/learned",
            shapes.PageOfLearnedRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "crop": crop,
                "what": what,
                "method": method,
                "site": site,
            },
            headers={"Prefer": prefer},
        )

    async def list_licences(
        self,
        *,
        first: Day | None = None,
        last: Day | None = None,
        site: str | None = None,
        licence_holder: str | None = None,
    ) -> Answer[shapes.LicencesNow]:
        """Protected cultivars by licence holder: grafted, sold, returned, and the count owed.
        What a licence counts is told in the cultivar's entry (`licence_counts`); where it is
        not, nothing is said to be owed. What a contract says beside this is for its parties.

        first: From this day on; left out: from the beginning.
        last: Up to this day; left out: to now.
        site: Left out: all that the key sees.
        licence_holder: Only this holder's.
        """
        return await self._call(
            "GET",
            "/v1/licences",
            shapes.LicencesNow,
            query={"first": first, "last": last, "site": site, "licence_holder": licence_holder},
        )

    async def list_liner_lots(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        site: str | None = None,
        on_hand: bool | None = None,
        as_of: str | None = None,
        known_at: str | None = None,
    ) -> Answer[shapes.ClockedPageOfLotSummary]:
        """List the liner lots by code, with how much of each is on hand, now or as it was.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        site: Lots that stood there once; counts are the site's.
        on_hand: true: only lots of which something stands.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        """
        return await self._call(
            "GET",
            "/v1/liner-lots",
            shapes.ClockedPageOfLotSummary,
            query={
                "limit": limit,
                "cursor": cursor,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "site": site,
                "on_hand": on_hand,
                "as_of": as_of,
                "known_at": known_at,
            },
        )

    async def list_papers(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        site: str | None = None,
        lot: str | None = None,
        paper: Literal["certified_tag", "plant_passport", "sale_tag"] | None = None,
    ) -> Answer[shapes.PageOfPrinting]:
        """List what was printed, the newest first, voided printings too: they say so.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        paper: A tag with what a buyer asks; a plant passport; a tag of certified stock with
          the statement that the authority allows.
        """
        return await self._call(
            "GET",
            "/v1/papers",
            shapes.PageOfPrinting,
            query={"limit": limit, "cursor": cursor, "site": site, "lot": lot, "paper": paper},
        )

    async def list_people(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfPersonShown]:
        """List by reference the people who work at a site that the key sees. Who works at every
        site is listed for keys of every site. Names are contacts' business.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET", "/v1/people", shapes.PageOfPersonShown, query={"limit": limit, "cursor": cursor}
        )

    async def list_places(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCatalogueItem]:
        """List the places by code.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET",
            "/v1/places",
            shapes.PageOfCatalogueItem,
            query={"limit": limit, "cursor": cursor},
        )

    async def list_promises(
        self,
        *,
        cultivar: str,
        rootstock: str,
        size: str,
        min_position: int | None = None,
        grade: str | None = None,
        site: str | None = None,
        date: Day | None = None,
        quantity: int | None = None,
        confidence: float | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.Promises]:
        """Tell how many of an item can be promised for a day, with what probability. An
        estimate, net of reservations, holds and expected losses; each answer says how wide
        it is and what it rests on. With `quantity` also the first day for all of it. Keys of
        some sites are told of these alone; all sites together are told to who sees them all.
        Nothing is set aside by asking: a reservation does that, and the log decides on it.

        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        size: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        grade: Left out: any.
        site: Left out: each site that has any, and all sites together.
        date: Left out: today.
        quantity: How many are wanted.
        confidence: How sure it is to be, from 0.5 to 0.99: 0.8 is 8 in 10 sure. Left out:
          what the nursery promises at.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/promises",
            shapes.Promises,
            query={
                "cultivar": cultivar,
                "rootstock": rootstock,
                "size": size,
                "min_position": min_position,
                "grade": grade,
                "site": site,
                "date": date,
                "quantity": quantity,
                "confidence": confidence,
            },
            headers={"Prefer": prefer},
        )

    async def list_push_curves(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        crop: str | None = None,
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
        | None = None,
        since: Literal["forcing", "grafting"] | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.PageOfPushCurveRow]:
        """List how the share of grafts that have pushed rises with the heat, by crop and
        method. As counted, without any assumed form, beside what was fitted and the forecast
        goes by: so that anybody can see how well it fits. Trees of all sites that count the
        heat alike are together.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        crop: A short lower-case word.
        method: Method of grafting or budding, in trade terms.
        since: Where the count of heat begins.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/push-curves",
            shapes.PageOfPushCurveRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "crop": crop,
                "method": method,
                "since": since,
            },
            headers={"Prefer": prefer},
        )

    async def list_push_observations(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        site: str | None = None,
        place: str | None = None,
        lot: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
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
        | None = None,
        outcome: Literal["failed", "gone", "lost", "pushed", "waiting"] | None = None,
        grafted_from: Day | None = None,
        grafted_to: Day | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.PageOfPushRow]:
        """List when grafts pushed, as far as walks can tell: the input of a fit of the time to
        push. Nobody sees a bud push: a walk finds that it has. So each row says after which
        day and by which day so many trees of a lot pushed, or since when they are still
        waited for. Every graft of a lot is in one row.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        place: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        method: Method of grafting or budding, in trade terms.
        grafted_from: Grafted on this day or later.
        grafted_to: Grafted on this day or earlier.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/push-observations",
            shapes.PageOfPushRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "site": site,
                "place": place,
                "lot": lot,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "method": method,
                "outcome": outcome,
                "grafted_from": grafted_from,
                "grafted_to": grafted_to,
            },
            headers={"Prefer": prefer},
        )

    async def list_ready_counts(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        site: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        size: str | None = None,
        grade: str | None = None,
        by: Day | None = None,
        weeks: int | None = None,
        as_of: str | None = None,
        known_at: str | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.ClockedPageOfReadyCountRow]:
        """List how many of each item will be ready by which day, at each site and at all
        together. An estimate with its width; not a promise, since sales and reservations are
        not taken off. The sites together are told to keys that see every site. Of a past
        moment: what was told then.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        size: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        grade: Left out: each, and any together.
        by: Told for this day alone, at most 78 weeks ahead; a day between two that are told
          counts as the earlier one.
        weeks: Without `by`: a day each so often.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/ready-counts",
            shapes.ClockedPageOfReadyCountRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "site": site,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "size": size,
                "grade": grade,
                "by": by,
                "weeks": weeks,
                "as_of": as_of,
                "known_at": known_at,
            },
            headers={"Prefer": prefer},
        )

    async def list_ready_dates(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        site: str | None = None,
        lot: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        size: str | None = None,
        ready_from: Day | None = None,
        ready_by: Day | None = None,
        as_of: str | None = None,
        known_at: str | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.ClockedPageOfReadyDateRow]:
        """List when the trees of each lot should be ready, soonest first, and how sure that is.
        An estimate, not a promise, from degree-days and the nursery's own counts; `reasons`
        say what it rests on. Of a past moment: what was told then, by the last forecast of
        that day.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        size: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        ready_from: The middle day, p50, is this one or later.
        ready_by: p50 is this day or earlier.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/ready-dates",
            shapes.ClockedPageOfReadyDateRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "site": site,
                "lot": lot,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "size": size,
                "ready_from": ready_from,
                "ready_by": ready_by,
                "as_of": as_of,
                "known_at": known_at,
            },
            headers={"Prefer": prefer},
        )

    async def list_reservations(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        state: Literal["expired", "fulfilled", "open", "released"] | None = None,
        customer: str | None = None,
        order: str | None = None,
        site: str | None = None,
    ) -> Answer[shapes.PageOfReservationNow]:
        """List reservations by code. What has expired says so from that moment on.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        state: open: it binds. expired: its time has come, nothing of it is held any more.
          fulfilled: all of it was handed over. released: what was open was given free.
        customer: Only this customer's.
        order: Only those of this order.
        site: Only those that this site acts for.
        """
        return await self._call(
            "GET",
            "/v1/reservations",
            shapes.PageOfReservationNow,
            query={
                "limit": limit,
                "cursor": cursor,
                "state": state,
                "customer": customer,
                "order": order,
                "site": site,
            },
        )

    async def list_rootstocks(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCatalogueItem]:
        """List the rootstocks by code.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET",
            "/v1/rootstocks",
            shapes.PageOfCatalogueItem,
            query={"limit": limit, "cursor": cursor},
        )

    async def list_rules(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCatalogueItem]:
        """List the rules by code.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET", "/v1/rules", shapes.PageOfCatalogueItem, query={"limit": limit, "cursor": cursor}
        )

    async def list_sales(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        site: str | None = None,
        customer: str | None = None,
        order: str | None = None,
        reservation: str | None = None,
        lot: str | None = None,
        first: Day | None = None,
        last: Day | None = None,
    ) -> Answer[shapes.PageOfSaleSummary]:
        """List sales in the order of the log, voided ones too: they say so.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        customer: Only to this customer.
        order: Only for this order.
        reservation: Only for this reservation.
        lot: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        first: From this day on.
        last: Up to this day.
        """
        return await self._call(
            "GET",
            "/v1/sales",
            shapes.PageOfSaleSummary,
            query={
                "limit": limit,
                "cursor": cursor,
                "site": site,
                "customer": customer,
                "order": order,
                "reservation": reservation,
                "lot": lot,
                "first": first,
                "last": last,
            },
        )

    async def list_sheets(self) -> Answer[shapes.Sheets]:
        """The sheets that can be sent as CSV, each with its columns in words."""
        return await self._call("GET", "/v1/sheets", shapes.Sheets)

    async def list_sites(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCatalogueItem]:
        """List the sites by code.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET", "/v1/sites", shapes.PageOfCatalogueItem, query={"limit": limit, "cursor": cursor}
        )

    async def list_sizes(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCatalogueItem]:
        """List the sizes by code.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET", "/v1/sizes", shapes.PageOfCatalogueItem, query={"limit": limit, "cursor": cursor}
        )

    async def list_source_trees(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfCatalogueItem]:
        """List the source trees by code.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET",
            "/v1/source-trees",
            shapes.PageOfCatalogueItem,
            query={"limit": limit, "cursor": cursor},
        )

    async def list_take_rates(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        min_position: int | None = None,
        by: Literal["cultivar", "grafter", "method", "month", "rootstock", "site"] | None = None,
        measure: Literal["survival", "take"] | None = None,
        site: str | None = None,
        crop: str | None = None,
        prefer: str | None = None,
    ) -> Answer[shapes.PageOfTakeRateRow]:
        """Compare take and survival, plain and adjusted for all else, with n and intervals. An
        estimate. Plain shares mislead where one had the harder rootstocks or the better
        month: `adjusted` tells each as if it had shared all else with the others. With fewer
        than 100 trees nothing is ranked. Worked out with each forecast.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        min_position: With `Prefer: wait=N`: wait until the answer reflects this position.
        by: What is compared. `grafter` needs the scope grafters:read and goes over all
          crops. So does `site`, over all sites, for keys that see them all.
        measure: Left out: both.
        site: Where it was grafted.
        crop: A short lower-case word.
        prefer: `wait=N`: wait up to N seconds (at most 30) until the answer reflects
          `min_position`. When the time runs out the answer says the older position that it
          reflects.
        """
        return await self._call(
            "GET",
            "/v1/take-rates",
            shapes.PageOfTakeRateRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "min_position": min_position,
                "by": by,
                "measure": measure,
                "site": site,
                "crop": crop,
            },
            headers={"Prefer": prefer},
        )

    async def list_to_put_right(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        state: Literal["any", "discarded", "open", "recorded"] | None = None,
        site: str | None = None,
    ) -> Answer[shapes.PageOfPutRight]:
        """List what people recorded and the log refused (mode each), as it came, with the
        reasons. You see what you sent, and with the scope corrections:write what others sent
        at your sites.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        state: open: nobody has put it right yet.
        site: Only what names this site.
        """
        return await self._call(
            "GET",
            "/v1/to-put-right",
            shapes.PageOfPutRight,
            query={"limit": limit, "cursor": cursor, "state": state, "site": site},
        )

    async def list_tree_lots(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        site: str | None = None,
        on_hand: bool | None = None,
        as_of: str | None = None,
        known_at: str | None = None,
    ) -> Answer[shapes.ClockedPageOfLotSummary]:
        """List the tree lots by code, with how much of each is on hand, now or as it was.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        site: Lots that stood there once; counts are the site's.
        on_hand: true: only lots of which something stands.
        as_of: As it was: a day, at its end at each site; or a time with an offset, at the
          end of the day that each site has then, since the books know days, not hours. Left
          out: now.
        known_at: As known then: a position of the log, or a time with an offset. Left out:
          all that is known now.
        """
        return await self._call(
            "GET",
            "/v1/tree-lots",
            shapes.ClockedPageOfLotSummary,
            query={
                "limit": limit,
                "cursor": cursor,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "site": site,
                "on_hand": on_hand,
                "as_of": as_of,
                "known_at": known_at,
            },
        )

    async def list_webhooks(
        self, *, limit: int | None = None, cursor: str | None = None
    ) -> Answer[shapes.PageOfWebhook]:
        """List webhooks by code: those that are told of sites which the key sees, and of no
        others.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        """
        return await self._call(
            "GET", "/v1/webhooks", shapes.PageOfWebhook, query={"limit": limit, "cursor": cursor}
        )

    async def list_work_orders(
        self,
        *,
        limit: int | None = None,
        cursor: str | None = None,
        site: str | None = None,
        state: Literal["ended", "filled", "late", "open", "to_do"] | None = None,
        grafter: str | None = None,
        cultivar: str | None = None,
        rootstock: str | None = None,
        needed_by: Day | None = None,
    ) -> Answer[shapes.PageOfWorkOrderRow]:
        """List work orders, the first to be done on top. Late and open go by the site's own
        calendar day. An order is made, changed and ended by the events `grafting.ordered`,
        `grafting.order_changed` and `grafting.order_ended`.

        limit: Most entries in one answer.
        cursor: Where to go on: take it from `next` or the Link header as it is.
        site: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        state: to_do: open or late. Left out: any.
        grafter: A grafter: orders that name them, or name nobody.
        cultivar: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        rootstock: A code fit for a tag, a barcode and a URL: capitals, digits, full stop and
          hyphen, at most 20 characters, unique in the nursery.
        needed_by: To be done by this day or earlier.
        """
        return await self._call(
            "GET",
            "/v1/work-orders",
            shapes.PageOfWorkOrderRow,
            query={
                "limit": limit,
                "cursor": cursor,
                "site": site,
                "state": state,
                "grafter": grafter,
                "cultivar": cultivar,
                "rootstock": rootstock,
                "needed_by": needed_by,
            },
        )

    async def make_link(self, reference: str, body: shapes.AskedLink) -> Answer[shapes.Link]:
        """Make a link and a code, either of which signs one device in, once. Give them to the
        person and to nobody else: whoever has one is taken for them. An earlier link of
        theirs is void with it. The code lasts ten minutes and bears five wrong tries.

        reference: A reference, as events name it.
        """
        return await self._call(
            "POST",
            f"/v1/people/{part(reference)}/link",
            shapes.Link,
            body=body,
            media="application/json",
        )

    async def make_plan(
        self, body: shapes.TreesWanted | shapes.BagAtHand
    ) -> Answer[shapes.TreesPlanned | shapes.BagPlanned]:
        """Tell how many grafts, buds and liners make so many trees by a day, or what a bag
        makes. With `plan: trees` for each site and method: the last day to graft, how much
        to graft so that it is as sure as asked, and what is there of buds and liners. With
        `plan: bag` what the buds of a bag make by each method. Estimates; nothing is stored
        and nothing is ordered.
        """
        return await self._call(
            "POST",
            "/v1/plans",
            shapes.TreesPlanned | shapes.BagPlanned,
            body=body,
            media="application/json",
        )

    async def make_reservation(
        self, body: shapes.Reserve, *, idempotency_key: str | None = None
    ) -> Answer[shapes.ReservationAnswer]:
        """Promise trees or buds to a customer: all that is asked, or with `partial` what there
        is. Decided at once and for good, however many ask. What can't be promised is refused
        (409, `not_enough_to_promise`) and says what is possible: how many by that day, from
        when on all, and what of the same there is at other sites, in other sizes and grades.
        Of what is foretold its `numbers` say what is `foreseen`, of all else what is
        `ready`. A line names an item, buds of a cultivar, or one lot. Until it is confirmed
        it may expire. Send an Idempotency-Key: a retry then answers with the reservation as
        it stands.

        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            "/v1/reservations",
            shapes.ReservationAnswer,
            body=body,
            media="application/json",
            headers={"Idempotency-Key": idempotency_key},
        )

    async def make_sale(
        self,
        body: shapes.SaleToMake,
        *,
        check: bool | None = None,
        idempotency_key: str | None = None,
    ) -> Answer[shapes.Sale]:
        """Sell trees or buds, against a reservation or directly. Several sales may fulfil one
        reservation: `left` tells what is still to come of it. One that names a reservation
        and no `lines` sells all that is left open of it at the site (409, `not_open`, when
        nothing is). Lots that are not named are chosen when it is recorded. A sale is a
        fact: it may take what others have reserved by item, or more than its own reservation
        has open, and a remark (`shortfall`, `outside_reservation`) says so. With
        `check=true` the answer is the loading list with these remarks, and nothing is
        recorded nor kept: what is chosen may be another's before it is sold. Ask for it with
        `Accept: text/csv` to print it.

        check: true: the loading list beforehand; nothing is recorded.
        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            "/v1/sales",
            shapes.Sale,
            body=body,
            media="application/json",
            query={"check": check},
            headers={"Idempotency-Key": idempotency_key},
        )

    async def post_readings(
        self, code: str, body: shapes.ReadingsPost | str | bytes, *, recorded_at: str | None = None
    ) -> Answer[shapes.ReadingsReport]:
        """Record or correct what loggers at a site's benches read, in degrees Celsius. JSON, or
        CSV with the header `sensor,time,celsius`; hourly or oftener. Times carry the offset
        that the site's clocks had then. Nothing is overwritten: changed readings come under
        the next version, and the same again changes nothing. Gaps and doubtful readings are
        reported.

        code: A code.
        recorded_at: When it became known, if that was before now: imports of old records say
          it (scope history). Not before the newest version of the record.
        """
        return await self._call(
            "POST",
            f"/v1/sites/{part(code)}/readings",
            shapes.ReadingsReport,
            body=body,
            media="application/json text/csv",
            query={"recorded_at": recorded_at},
        )

    async def print_papers(
        self,
        body: shapes.PapersToPrint,
        *,
        check: bool | None = None,
        idempotency_key: str | None = None,
    ) -> Answer[shapes.Printing]:
        """Record a printing of papers for a lot of trees or budwood; then get them as PDF. An
        intention: refused while a hold stops the lot from being sold (`held`), for more than
        stand there or were sold (`counts_disagree`), and, of passports and certified tags,
        unless the site's entry has the registration (`not_registered`) and an inspection
        that is current (`inspection_not_current`). What the papers say is filled in from the
        records. Local rules and the authority decide which paper goes with which plants; the
        nursery answers for it.

        check: true: what the papers would say; nothing is recorded.
        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            "/v1/papers",
            shapes.Printing,
            body=body,
            media="application/json",
            query={"check": check},
            headers={"Idempotency-Key": idempotency_key},
        )

    async def put_calendar(
        self,
        code: str,
        body: shapes.CalendarDetails,
        *,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.MadeCalendar]:
        """Make a calendar, or change what it shows, whole. You choose the code. The address of
        a new one is in this answer and in no other; a calendar program subscribes to it
        without a key. It shows what you may see at the time it is asked, as whole days:
        checks from the day they are due to the last before they are overdue, one entry for
        all that is overdue, orders, reservations, and bags by their use. It shows codes and
        counts, no names. To change one send its ETag in If-Match: its address stays. At most
        20 of one name.

        code: A code.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/calendars/{part(code)}",
            shapes.MadeCalendar,
            body=body,
            media="application/json",
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_check_plan(
        self,
        code: str,
        body: shapes.CheckPlanBody,
        *,
        site: str | None = None,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.CatalogueItem]:
        """Make or change a check plan, whole. The code is the address's. To change an entry
        send its ETag in If-Match (428 without, 412 when it was changed meanwhile);
        `If-None-Match: *` makes only a new one. It is recorded as catalogue.changed.

        code: A code.
        site: The site that acts. Left out: the entry's own site, else the first site that
          the key sees.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/check-plans/{part(code)}",
            shapes.CatalogueItem,
            body=body,
            media="application/json",
            query={"site": site},
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_contact(
        self,
        reference: str,
        body: shapes.ContactDetails,
        *,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.Contact]:
        """Say who stands behind a reference, or change it, whole. The reference is the one that
        events name as actor, grafter or customer; choose one that tells nothing by itself,
        for events are kept for ever. To change a contact send its ETag in If-Match;
        `If-None-Match: *` makes only a new one. What it said before is kept nowhere.

        reference: A reference, as events name it.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/contacts/{part(reference)}",
            shapes.Contact,
            body=body,
            media="application/json",
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_cultivar(
        self,
        code: str,
        body: shapes.CultivarBody,
        *,
        site: str | None = None,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.CatalogueItem]:
        """Make or change a cultivar, whole. The code is the address's. To change an entry send
        its ETag in If-Match (428 without, 412 when it was changed meanwhile);
        `If-None-Match: *` makes only a new one. It is recorded as catalogue.changed.

        code: A code.
        site: The site that acts. Left out: the entry's own site, else the first site that
          the key sees.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/cultivars/{part(code)}",
            shapes.CatalogueItem,
            body=body,
            media="application/json",
            query={"site": site},
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_person(
        self,
        reference: str,
        body: shapes.PersonDetails,
        *,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.PersonShown]:
        """Let a person sign in, or change what they may do. The reference is the actor of what
        they record: choose one that tells nothing by itself, for events are kept for ever,
        and put the name into a contact of the same reference. Nobody gives what their own
        key may not do, nor changes who may do more. Who is given more than before is signed
        out and signs in afresh by a new link. Fewer rights count at once.

        reference: A reference, as events name it.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/people/{part(reference)}",
            shapes.PersonShown,
            body=body,
            media="application/json",
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_place(
        self,
        code: str,
        body: shapes.PlaceBody,
        *,
        site: str | None = None,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.CatalogueItem]:
        """Make or change a place, whole. The code is the address's. To change an entry send its
        ETag in If-Match (428 without, 412 when it was changed meanwhile); `If-None-Match: *`
        makes only a new one. It is recorded as catalogue.changed.

        code: A code.
        site: The site that acts. Left out: the entry's own site, else the first site that
          the key sees.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/places/{part(code)}",
            shapes.CatalogueItem,
            body=body,
            media="application/json",
            query={"site": site},
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_rootstock(
        self,
        code: str,
        body: shapes.RootstockBody,
        *,
        site: str | None = None,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.CatalogueItem]:
        """Make or change a rootstock, whole. The code is the address's. To change an entry send
        its ETag in If-Match (428 without, 412 when it was changed meanwhile);
        `If-None-Match: *` makes only a new one. It is recorded as catalogue.changed.

        code: A code.
        site: The site that acts. Left out: the entry's own site, else the first site that
          the key sees.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/rootstocks/{part(code)}",
            shapes.CatalogueItem,
            body=body,
            media="application/json",
            query={"site": site},
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_rule(
        self,
        code: str,
        body: shapes.RuleBody,
        *,
        site: str | None = None,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.CatalogueItem]:
        """Make or change a rule, whole. The code is the address's. To change an entry send its
        ETag in If-Match (428 without, 412 when it was changed meanwhile); `If-None-Match: *`
        makes only a new one. It is recorded as catalogue.changed.

        code: A code.
        site: The site that acts. Left out: the entry's own site, else the first site that
          the key sees.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/rules/{part(code)}",
            shapes.CatalogueItem,
            body=body,
            media="application/json",
            query={"site": site},
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_site(
        self,
        code: str,
        body: shapes.SiteBody,
        *,
        site: str | None = None,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.CatalogueItem]:
        """Make or change a site, whole. The code is the address's. To change an entry send its
        ETag in If-Match (428 without, 412 when it was changed meanwhile); `If-None-Match: *`
        makes only a new one. It is recorded as catalogue.changed.

        code: A code.
        site: The site that acts. Left out: the entry's own site, else the first site that
          the key sees.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/sites/{part(code)}",
            shapes.CatalogueItem,
            body=body,
            media="application/json",
            query={"site": site},
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_size(
        self,
        code: str,
        body: shapes.SizeBody,
        *,
        site: str | None = None,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.CatalogueItem]:
        """Make or change a size, whole. The code is the address's. To change an entry send its
        ETag in If-Match (428 without, 412 when it was changed meanwhile); `If-None-Match: *`
        makes only a new one. It is recorded as catalogue.changed.

        code: A code.
        site: The site that acts. Left out: the entry's own site, else the first site that
          the key sees.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/sizes/{part(code)}",
            shapes.CatalogueItem,
            body=body,
            media="application/json",
            query={"site": site},
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_source_tree(
        self,
        code: str,
        body: shapes.SourceTreeBody,
        *,
        site: str | None = None,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.CatalogueItem]:
        """Make or change a source tree, whole. The code is the address's. To change an entry
        send its ETag in If-Match (428 without, 412 when it was changed meanwhile);
        `If-None-Match: *` makes only a new one. It is recorded as catalogue.changed.

        code: A code.
        site: The site that acts. Left out: the entry's own site, else the first site that
          the key sees.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/source-trees/{part(code)}",
            shapes.CatalogueItem,
            body=body,
            media="application/json",
            query={"site": site},
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def put_temperatures(
        self,
        code: str,
        body: shapes.TemperaturesPut | str | bytes,
        *,
        source: str | None = None,
        recorded_at: str | None = None,
    ) -> Answer[shapes.TemperaturesReport]:
        """Record or correct days of a site's temperatures, in degrees Celsius. JSON, or CSV
        with the header `day,min_c,max_c`. Days not named stay as they are. Nothing is
        overwritten: changed days come under the record's next version. Gaps and odd jumps
        are reported.

        code: A code.
        source: With CSV: the sensor or service that measured. Needed then.
        recorded_at: When it became known, if that was before now: imports of old records say
          it (scope history). Not before the newest version of the record.
        """
        return await self._call(
            "PUT",
            f"/v1/sites/{part(code)}/temperatures",
            shapes.TemperaturesReport,
            body=body,
            media="application/json text/csv",
            query={"source": source, "recorded_at": recorded_at},
        )

    async def put_temperatures_ahead(
        self, code: str, body: shapes.AheadPut, *, recorded_at: str | None = None
    ) -> Answer[shapes.AheadReport]:
        """Give a weather forecast for a site's next days, today and at most fifteen after it.
        It takes the place of the one before, whole; without days it withdraws that. The days
        it covers are reckoned with as given instead of by the site's past years. Earlier
        ones are kept.

        code: A code.
        recorded_at: When it became known, if that was before now: imports of old records say
          it (scope history). Not before the newest version of the record.
        """
        return await self._call(
            "PUT",
            f"/v1/sites/{part(code)}/temperatures/ahead",
            shapes.AheadReport,
            body=body,
            media="application/json",
            query={"recorded_at": recorded_at},
        )

    async def put_webhook(
        self,
        code: str,
        body: shapes.WebhookDetails,
        *,
        if_match: str | None = None,
        if_none_match: str | None = None,
    ) -> Answer[shapes.MadeWebhook]:
        """Have an address told, or change what it is told, whole. You choose the code. A new
        one is told events recorded from now on, and of topics all that is so now; its secret
        is in this answer and in no other. Each message is a CloudEvent 1.0 (JSON), signed by
        Standard Webhooks 1.0.0. Answer 2xx within 15 seconds; anything else (a redirect too)
        is tried again, ten attempts over three days, and what comes after it waits. Then it
        stops and keeps its place until it is resumed; 410 stops it at once. Messages come at
        least once and in the order of the log; webhook-id is the same each time. It sees
        what the live keys of your key's name see, which need the scope read too. To change
        one send its ETag in If-Match.

        code: A code.
        if_match: The ETag of the version that is changed.
        if_none_match: `*`: make only a new one. With GET an ETag: 304 when it is still the
          same.
        """
        return await self._call(
            "PUT",
            f"/v1/webhooks/{part(code)}",
            shapes.MadeWebhook,
            body=body,
            media="application/json",
            headers={"If-Match": if_match, "If-None-Match": if_none_match},
        )

    async def record_events(
        self,
        body: shapes.Event | list[shapes.Event] | str | bytes,
        *,
        mode: Literal["all", "each"] | None = None,
        check: bool | None = None,
        recorded_at: Moment | None = None,
        recorded_by: str | None = None,
        idempotency_key: str | None = None,
    ) -> Answer[shapes.Recorded]:
        """Record one event, an array of at most 1,000, or NDJSON of at most 5,000 lines. 201
        when something new was recorded, 200 when all of it was known already; with
        `mode=each` always 200 with a verdict for each. With `mode=all` a refusal is 409 and
        names every reason. A retry is safe with an Idempotency-Key (kept for at least 7
        days) or with event ids. What is recorded depends on the key's scopes and sites.
        NDJSON with `mode=each` and `Accept: application/x-ndjson` is recorded as it comes,
        up to 100,000 lines, and answered while it comes: for each line, in their order, its
        verdict with its number as `line`, and at the end a line with `lines`, how many there
        were. A problem document as the last line says with `line` from where on nothing was
        recorded: send again from there, or all of it under the same Idempotency-Key or with
        event ids. Lines are judged in order of occurrence some hundred at a time, so send
        them in that order. `check=true` takes 5,000 lines.

        mode: all: everything is recorded or nothing. each: every event gets a verdict of its
          own, in order of occurrence, and what is refused is kept to be put right.
        check: true: judge it and store nothing.
        recorded_at: When it was first recorded elsewhere (scope history).
        recorded_by: By whom it was first recorded (scope history).
        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            "/v1/events",
            shapes.Recorded,
            body=body,
            media="application/json application/x-ndjson",
            query={
                "mode": mode,
                "check": check,
                "recorded_at": recorded_at,
                "recorded_by": recorded_by,
            },
            headers={"Idempotency-Key": idempotency_key},
        )

    async def record_sheet(
        self,
        name: str,
        body: str | bytes,
        *,
        check: bool | None = None,
        site: str | None = None,
        date: str | None = None,
        idempotency_key: str | None = None,
    ) -> Answer[shapes.FileReport]:
        """Record a filled-in sheet (CSV, UTF-8, commas or semicolons): all of it or nothing.
        Days are written as 2026-03-14; an empty cell is left out or unknown. 201 when
        something new was recorded, 200 when all of it was known or with `check=true`. The
        answer says what became of every line; a refusal names line and column in `errors`
        and carries the same report in `lines`. Which scope it asks for depends on what the
        rows become. The same rows sent again are known.

        name: The sheet's name.
        check: true: judge it and store nothing.
        site: The site, for rows in which it is empty.
        date: The day, for rows in which it is empty.
        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            f"/v1/sheets/{part(name)}",
            shapes.FileReport,
            body=body,
            media="text/csv",
            query={"check": check, "site": site, "date": date},
            headers={"Idempotency-Key": idempotency_key},
        )

    async def release_reservation(
        self,
        code: str,
        body: shapes.Release,
        *,
        if_match: str | None = None,
        idempotency_key: str | None = None,
    ) -> Answer[shapes.ReservationAnswer]:
        """Give free what is still open of a reservation, with the reason. It stays on record.
        If-Match is heeded when it is sent.

        code: A code.
        if_match: The ETag of the version that is changed.
        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            f"/v1/reservations/{part(code)}/release",
            shapes.ReservationAnswer,
            body=body,
            media="application/json",
            headers={"If-Match": if_match, "Idempotency-Key": idempotency_key},
        )

    async def remind_on(self, id: str, body: shapes.RemindOn) -> Answer[shapes.Recorded]:
        """Have an alert come back on a day. It is recorded as alert.remind_on.

        id: A UUID.
        """
        return await self._call(
            "POST",
            f"/v1/alerts/{part(id)}/remind-on",
            shapes.Recorded,
            body=body,
            media="application/json",
        )

    async def remove_calendar(self, code: str, *, if_match: str | None = None) -> Answer[None]:
        """Take a calendar back: from now on its address shows nothing to whoever has it.

        code: A code.
        if_match: The ETag of the version that is changed.
        """
        return await self._call(
            "DELETE", f"/v1/calendars/{part(code)}", None, headers={"If-Match": if_match}
        )

    async def remove_person(self, reference: str, *, if_match: str | None = None) -> Answer[None]:
        """Let a person sign in no more, at once on every device. What they recorded stays.

        reference: A reference, as events name it.
        if_match: The ETag of the version that is changed.
        """
        return await self._call(
            "DELETE", f"/v1/people/{part(reference)}", None, headers={"If-Match": if_match}
        )

    async def remove_webhook(self, code: str, *, if_match: str | None = None) -> Answer[None]:
        """Tell the address nothing more, and forget its secrets and how far it had come.

        code: A code.
        if_match: The ETag of the version that is changed.
        """
        return await self._call(
            "DELETE", f"/v1/webhooks/{part(code)}", None, headers={"If-Match": if_match}
        )

    async def replace_secret(
        self, code: str, body: shapes.ReplaceSecret
    ) -> Answer[shapes.NewSecret]:
        """Make a new secret. For a while messages bear two signatures, so that none is turned
        away. Ten secrets at most are in use at a time.

        code: A code.
        """
        return await self._call(
            "POST",
            f"/v1/webhooks/{part(code)}/secret",
            shapes.NewSecret,
            body=body,
            media="application/json",
        )

    async def replay_webhook(self, code: str, body: shapes.Replay) -> Answer[shapes.Progress]:
        """Go on after another position of the log: tell again what was told, or leave something
        out. What is told again bears the ids it had, so a receiver that keeps them takes
        only what it missed. One that is stopped stays so until it is resumed.

        code: A code.
        """
        return await self._call(
            "POST",
            f"/v1/webhooks/{part(code)}/replay",
            shapes.Progress,
            body=body,
            media="application/json",
        )

    async def resume_webhook(self, code: str) -> Answer[shapes.Webhook]:
        """Go on where it stopped; nothing that was recorded meanwhile is left out. From now on
        it sees with the keys of your key's name. One that waits after a failure tries again
        at once.

        code: A code.
        """
        return await self._call("POST", f"/v1/webhooks/{part(code)}/resume", shapes.Webhook)

    async def send_test(self, code: str) -> Answer[shapes.AskedTest]:
        """Have a message of the type webhook.test sent, once, also by one that is stopped. What
        became of it is among the deliveries within seconds.

        code: A code.
        """
        return await self._call("POST", f"/v1/webhooks/{part(code)}/test", shapes.AskedTest)

    async def sign_out_person(
        self, reference: str, body: shapes.AskedSignOut
    ) -> Answer[shapes.SignedOut]:
        """Sign a person out on a device that was lost, or on all of them, at once. It takes
        nothing but time to sign in again, so whoever manages one of their sites may.

        reference: A reference, as events name it.
        """
        return await self._call(
            "POST",
            f"/v1/people/{part(reference)}/sign-out",
            shapes.SignedOut,
            body=body,
            media="application/json",
        )

    async def stop_webhook(self, code: str) -> Answer[shapes.Webhook]:
        """Tell nothing until it is resumed. It keeps its place.

        code: A code.
        """
        return await self._call("POST", f"/v1/webhooks/{part(code)}/stop", shapes.Webhook)

    async def take_back(
        self, body: shapes.ReturnToTake, *, idempotency_key: str | None = None
    ) -> Answer[shapes.Return]:
        """Take sold trees back, where the site's rules allow it. They stand at a place for
        returns, apart from what is sold; whether trees that left may come back into a
        structure at all is for local rules to say.

        idempotency_key: Makes a retry safe: the same key with the same request gets the
          first answer. 1 to 128 letters, digits and . _ : -, quoted or bare.
        """
        return await self._call(
            "POST",
            "/v1/returns",
            shapes.Return,
            body=body,
            media="application/json",
            headers={"Idempotency-Key": idempotency_key},
        )
