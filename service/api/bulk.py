"""POST /v1/events as a stream: lines come in, their verdicts go out, in bounded memory.

Who sends all before reading anything must not be waited for, or both sides would wait for ever: the
lines are read and recorded all the same, and the verdicts kept (`outbox`). Lines are judged in
portions, so that others have their turn between them and nothing of the whole is held.
"""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Iterator
from typing import Annotated, Any

import msgspec
import structlog
from msgspec import Meta

from service.api.headers import idempotency_key
from service.api.lines import Body, Portion
from service.api.operation import NDJSON, Call, Reply
from service.api.outbox import Outbox
from service.api.problems import Problem, encode_problem, problem_of, unauthenticated
from service.api.taking_in import (
    LINES_LIMIT,
    check_rights,
    hand_over,
    no_event,
    refuse_twins,
    understand,
    within,
)
from service.log.incoming import id_of
from service.log.submission import Answer, Element, Submission, Verdict, VerdictName

# Who pauses that long wants to know how it went so far.
PAUSE_SECONDS = 0.05
# Requests that one process records so at once; each takes memory for a few portions.
AT_ONCE = 16
# How long a portion tries to get into the writer's full queue.
BUSY_SECONDS = 60.0
_log = structlog.get_logger(__name__)
_encode = msgspec.json.Encoder().encode


class LineVerdict(Verdict, frozen=True, kw_only=True):
    """A line of the answer: what became of line `line` of the request, counted from 1."""

    line: int


class AllJudged(msgspec.Struct, frozen=True, kw_only=True):
    """The last line of the answer, when every line of the request has got its verdict.

    `position`: the log's newest position then. `lines`: how many had an event in them.
    """

    position: int
    lines: int
    accepted: int
    known: int
    refused: int
    malformed: int


VerdictLines = Annotated[
    str,
    Meta(
        description="For each line of the request a verdict as in JSON, with the line's number as "
        "`line`, counted from 1; pointers are into the line's event. The last line has `position`, "
        "`lines` (how many had an event) and how many were `accepted`, `known`, `refused` and "
        "`malformed`; or it is a problem document whose `line` is the first that was not judged."
    ),
]


class Recording:
    """A request in lines on its way into the log, and its verdicts on their way out."""

    def __init__(self, call: Call[Any], key: str | None) -> None:
        """`key`: the Idempotency-Key, if there is one."""
        self._call, self._key = call, key
        self._body = Body(call)
        self._outbox = Outbox()
        self._counts: Counter[VerdictName] = Counter()
        self._position = 0
        self._next = 1
        self._problem: Problem | None = None
        # The first verdicts are there, or there will be none.
        self._begun = asyncio.Event()
        self._task = asyncio.create_task(self._run(), name="bulk")
        call.services.in_lines.add(id(self))

    def reads(self) -> bool:
        """Whether lines may still come: until then nobody need take an answer."""
        return not self._body.over

    async def begin(self) -> None:
        """Wait for the first verdicts. Raises what goes wrong before as the request's problem."""
        try:
            await self._begun.wait()
            if self._problem is not None and not self._counts:
                raise self._problem
        except BaseException:
            await self._let_go()
            raise

    async def answer(self) -> AsyncIterator[bytes]:
        """The answer's lines, in pieces of any length."""
        try:
            async for piece in self._outbox.pieces():
                yield piece
        finally:
            await self._let_go()

    async def _let_go(self) -> None:
        self._call.services.in_lines.discard(id(self))
        self._task.cancel()
        await asyncio.wait({self._task})
        self._outbox.close()

    async def _run(self) -> None:
        try:
            await self._record()
        except Exception as error:
            self._problem = problem_of(error)
            if self._problem.slug == "internal-error":
                _log.exception("unforeseen in a stream of lines")
        finally:
            self._body.close()
            self._conclude()
            self._begun.set()
            self._outbox.end()

    def _conclude(self) -> None:
        """The last line: what went wrong and where, or that all was judged."""
        if self._problem is None:
            self._outbox.put(_all_judged(self._position, self._counts))
        else:
            self._problem.members["line"] = self._next
            self._outbox.put(encode_problem(self._problem, self._call.request.scope) + b"\n")

    async def _record(self) -> None:
        portions = self._portions()
        # While one portion is judged the next is read.
        ahead = asyncio.ensure_future(anext(portions, None))
        try:
            while (portion := await ahead) is not None:
                ahead = asyncio.ensure_future(anext(portions, None))
                self._next = portion.numbers[0]
                self._tell(portion, await self._judged(portion.elements))
        finally:
            ahead.cancel()
            await asyncio.wait({ahead})
        if self._body.trouble is not None:
            self._next = self._body.number + 1
            raise self._body.trouble
        if not self._counts:
            raise no_event()

    async def _portions(self) -> AsyncIterator[Portion]:
        portion = Portion()
        while not self._body.over:
            lines = await self._body.lines(PAUSE_SECONDS if portion.elements else None)
            if lines is None:
                yield portion
                portion = Portion()
            for number, raw in lines or ():
                element = self._understood(number, raw)
                if not portion.takes(element):
                    yield portion
                    portion = Portion()
                portion.add(number, element)
        if portion.elements:
            yield portion

    def _understood(self, number: int, raw: bytes) -> Element:
        [element] = understand([raw], array=False, each=True)
        [element] = check_rights([element], self._call.principal, array=False, each=True)
        if self._key is None:
            return element
        # Sent again under the same key, the line is known by the same id.
        name = id_of(self._call.principal.name, self._key, str(number))
        return msgspec.structs.replace(element, id=name)

    async def _judged(self, elements: list[Element]) -> Answer:
        if not await self._call.key_stands():
            raise unauthenticated("The key was revoked or changed.", error="invalid_token")
        submission = _submission(self._call, elements)
        end = asyncio.get_running_loop().time() + BUSY_SECONDS
        while True:
            try:
                return await hand_over(self._call, submission)
            except Problem as problem:
                if problem.slug != "busy" or asyncio.get_running_loop().time() > end:
                    raise
            # Others fill the queue: this sender waits for them, not they for him.
            await asyncio.sleep(0.1)

    def _tell(self, portion: Portion, answer: Answer) -> None:
        self._counts.update(_kinds(answer.verdicts))
        self._position, self._next = answer.position, portion.numbers[-1] + 1
        self._outbox.put(_lines(portion.numbers, answer.verdicts))
        self._begun.set()


def _lines(numbers: list[int], verdicts: list[Verdict]) -> bytes:
    """`LineVerdict`s as lines; encoding them so costs half of making them first."""
    return b"".join(
        b'{"line":%d,' % number + _encode(verdict)[1:] + b"\n"
        for number, verdict in zip(numbers, verdicts, strict=True)
    )


def _kinds(verdicts: list[Verdict]) -> Iterator[VerdictName]:
    return (verdict.verdict for verdict in verdicts)


def _all_judged(position: int, counts: Counter[VerdictName]) -> bytes:
    told = AllJudged(
        position=position,
        lines=counts.total(),
        accepted=counts["accepted"],
        known=counts["known"],
        refused=counts["refused"],
        malformed=counts["malformed"],
    )
    return _encode(told) + b"\n"


async def _checked(call: Call[Any]) -> Reply:
    """A check is judged as one, since what it would record is nowhere afterwards: so it has the
    bounds of a request that is read whole."""
    body = await call.body(call.services.settings.batch_body_limit)
    numbered = [(at, line) for at, line in enumerate(body.split(b"\n"), 1) if line.strip()]
    lines = within([line for _, line in numbered], LINES_LIMIT, "lines")
    elements = understand(lines, array=True, each=True)
    refuse_twins(elements, array=True)
    elements = check_rights(elements, call.principal, array=False, each=True)
    answer = await hand_over(call, _submission(call, elements, check=True))
    told = _lines([at for at, _ in numbered], answer.verdicts)
    told += _all_judged(answer.position, Counter(_kinds(answer.verdicts)))
    return Reply(told, media_type=NDJSON, cache="no-store")


def _submission(call: Call[Any], elements: list[Element], *, check: bool = False) -> Submission:
    return Submission(
        principal=call.principal,
        elements=elements,
        mode="each",
        check=check,
        recorded_at=call.query.recorded_at,
        recorded_by=call.query.recorded_by,
    )


async def record_lines(call: Call[Any]) -> Reply:
    """The answer in lines to a request in lines; see the module.

    Raises what goes wrong before the first verdict as a problem; later it is the last line.
    """
    if call.query.check:
        return await _checked(call)
    if len(call.services.in_lines) >= AT_ONCE:
        words = f"{AT_ONCE} requests in lines are being recorded already."
        raise Problem("overloaded", words, headers={"Retry-After": "2"})
    recording = Recording(call, idempotency_key(call.header("idempotency-key")))
    await recording.begin()
    return Reply(
        stream=recording.answer(), asker_sends=recording.reads, media_type=NDJSON, cache="no-store"
    )
