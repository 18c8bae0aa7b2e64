"""From an exception to a problem: the only place that turns faults into answers.

What a caller sent is never logged: an unforeseen fault leaves its type and the places in the
code where it passed, without its message, which could hold a value.
"""

import logging
import traceback

from litestar import Request, Response
from litestar.datastructures import State
from litestar.exceptions import HTTPException

from service.web.problems import BY_STATUS, RefusalError, problem_response

_LOG = logging.getLogger("movewright")

AnyRequest = Request[object, object, State]


def on_refused(_: AnyRequest, error: RefusalError) -> Response[bytes]:
    """The problem that our own checks found."""
    return problem_response(error.problem, error.errors, error.headers)


def on_http_exception(_: AnyRequest, error: HTTPException) -> Response[bytes]:
    """The problem for a status that the framework raised; its message is left out."""
    fallback = 500 if error.status_code >= 500 else 400
    problem = BY_STATUS.get(error.status_code, BY_STATUS[fallback])
    headers: dict[str, str] = {}
    if error.status_code == 405:
        allowed = {key.lower(): value for key, value in (error.headers or {}).items()}
        headers["Allow"] = ", ".join(sorted(allowed.get("allow", "").split(", ")))
    return problem_response(problem, headers=headers)


def on_exception(_: AnyRequest, error: Exception) -> Response[bytes]:
    """The problem for a fault of ours, which is logged without any request content."""
    places = [
        f"  {frame.filename}:{frame.lineno} in {frame.name}"
        for frame in traceback.extract_tb(error.__traceback__)
    ]
    _LOG.error("unforeseen %s, passed through:\n%s", type(error).__name__, "\n".join(places))
    return problem_response("internal-error")
