"""What the run over the public description checks beside Schemathesis's own checks.

`tests/api/schemathesis.toml` names this file; it is read in that program's process.
"""

from collections.abc import Sequence
from typing import Any

import schemathesis
from schemathesis.core import NotSet

from service.api.operation import CSV, NDJSON
from service.api.problems import MEANING_KINDS, PROBLEM_TYPE

# Problems of a well-formed request that no shape can tell.
_BY_TYPE = {
    # It stands for another request: that of the first sender, or of an earlier test case.
    "/problems/idempotency-key-reused",
}
# Their rows are described in words only, so of them any mistake may be made.
_ROWS = (CSV, NDJSON)
_RESERVES = "POST /v1/reservations"
_BODY_OR_NONE = (
    "POST /v1/alerts/{id}/acknowledge",
    "POST /v1/reservations/{code}/confirm",
    "POST /v1/webhooks/{code}/secret",
    "POST /v1/people/{reference}/link",
    "POST /v1/people/{reference}/sign-out",
)


@schemathesis.check
def only_what_shapes_cannot_say(ctx: Any, response: Any, case: Any) -> None:
    """What fits the description is refused as ill-formed only for what it means."""
    fits = case.meta is not None and case.meta.generation.mode.is_positive
    if not fits or response.status_code not in (400, 422) or case.media_type in _ROWS:
        return
    problem = response.json()
    kinds = {mistake["kind"] for mistake in problem.get("errors", [])}
    if problem["type"] in _BY_TYPE or (kinds and kinds <= set(MEANING_KINDS)):
        return
    raise AssertionError(f"It fits the description and is refused for its form: {problem}")


@schemathesis.check
def every_refusal_is_a_problem_document(ctx: Any, response: Any, case: Any) -> None:
    """Statuses from 400 on come with a document of that status, HEAD alone without."""
    if response.status_code < 400 or response.request.method == "HEAD":
        return
    (kind,) = response.headers["content-type"]
    assert kind == PROBLEM_TYPE, kind
    assert response.json()["status"] == response.status_code


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: dict[str, Any]) -> None:
    """Two ways of sending things that a JSON Schema can't describe are left out.

    To a schema 24.0 is a whole number; here whole numbers are written without a fraction. And with
    `mode=each` a bad event gets a verdict of its own in an answer that is 200.
    """
    case.body = _whole(case.body)
    spoilt = case.meta is not None and case.meta.generation.mode.is_negative
    if spoilt and isinstance(case.body, NotSet) and case.operation.label in _BODY_OR_NONE:
        # It takes a body left out for a spoilt one, also where none is needed.
        case.body = []
    if case.operation.label == _RESERVES and not spoilt and isinstance(case.body, dict):
        case.body = _can_be_had(case.body)
    if spoilt and case.query and case.query.get("mode") == "each":
        case.query = {name: one for name, one in case.query.items() if name != "mode"}


def _can_be_had(body: dict[str, Any]) -> dict[str, Any]:
    """Half of what is reserved is there, so that there is something to go on with."""
    line = body["lines"][0] if body.get("lines") else None
    if not isinstance(line, dict) or line.get("count", 0) % 2:
        return body
    asked = {name: body[name] for name in ("order", "partial") if name in body}
    item = {"cultivar": "NAV", "rootstock": "CARR", "size": "P9", "count": 1}
    return {**asked, "customer": "cust-0481", "site": "AA-SITE", "lines": [item]}


def _whole(part: Any) -> Any:
    if isinstance(part, float) and part.is_integer():
        return int(part)
    if isinstance(part, dict):
        return {name: _whole(value) for name, value in part.items()}
    if isinstance(part, list):
        return [_whole(value) for value in part]
    return part


@schemathesis.check
class EveryReadIsAnswered:
    """A run in which an operation that reads was never answered shows nothing of it."""

    def __init__(self, but: Sequence[str] = ()) -> None:
        self.but = but
        self.asked: set[str] = set()
        self.answered: set[str] = set()

    def after_response(self, ctx: Any, response: Any, case: Any) -> None:
        name = case.operation.label
        if case.method == "GET":
            self.asked.add(name)
        if response.status_code < 300:
            self.answered.add(name)

    def after_run(self, ctx: Any) -> None:
        never = self.asked - self.answered - set(self.but)
        assert not never, f"never answered with what was asked for: {sorted(never)}"
