"""Questions that are asked again and again: answered from what is kept, before they are routed.

Who asks is found and counted as ever; what is spared is finding the way and reading the question
anew. Only what the long way answered to the very same question of somebody who sees the same sites
is told, and only while nothing that could change it is known.
"""

from litestar.datastructures import State
from litestar.types import ASGIApp, Scope

from service.api.operation import Reply, asker, finish
from service.api.services import Services
from service.log.rights import READ

AVAILABILITY = "/v1/availability"


async def kept_answer(scope: Scope, state: State) -> ASGIApp | None:
    """The answer to a question that was answered before; None: it goes the long way."""
    if scope["path"] != AVAILABILITY or scope["method"] not in ("GET", "HEAD"):  # type: ignore[typeddict-item]
        return None
    services: Services = state.services
    now, answers, asked = services.availability, services.answers, scope["query_string"]
    if not (now.current and answers.has(now.list.version, asked)):
        return None
    try:
        principal = await asker(scope, services)
        kept = answers.find(now.list.version, principal.sites, asked)
        if kept is None or READ not in principal.scopes:
            return None
        answer = finish(Reply(kept.body, etag=kept.tag, headers=kept.headers), scope)
    except Exception:
        # A key, or an entity tag, that is none, or what nobody foresaw: the long way says it, where
        # every mistake becomes an answer.
        return None
    scope["path_template"] = AVAILABILITY
    scope["state"]["principal"] = principal.name
    return answer
