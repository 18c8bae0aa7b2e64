"""Every error that the service can answer with, explained once, and how it is written (RFC 9457).

Apart from the handlers so that the pages under `/problems`, the answers and the contract cannot
disagree. Nothing that a caller sent ever enters a problem: only pointers into it.
"""

from typing import Annotated

import msgspec
from litestar import Response
from msgspec import Meta, Struct

from service.model.errors import MovewrightError

PROBLEM_MEDIA = "application/problem+json"
NO_STORE = "no-store"

Sentence = Annotated[str, Meta(min_length=1, max_length=2000)]


class FieldFault(Struct, frozen=True, kw_only=True):
    """One place in the request body that is wrong, and what belongs there."""

    pointer: Annotated[str, Meta(max_length=2000, description="RFC 6901 pointer into the body")]
    detail: Sentence


class Problem(Struct, frozen=True, kw_only=True):
    """What went wrong, as RFC 9457 has it. `errors` is empty unless the body is at fault."""

    type: Annotated[str, Meta(description="Path of the page that explains this problem")]
    title: Sentence
    status: Annotated[int, Meta(ge=400, le=599, description="The HTTP status")]
    detail: Sentence
    errors: tuple[FieldFault, ...]


class ProblemType(Struct, frozen=True, kw_only=True):
    """One kind of error: what it means, what causes it, and what to do."""

    type: Annotated[str, Meta(description="Last part of the problem's `type` path")]
    title: Sentence
    status: Annotated[int, Meta(ge=400, le=599, description="The HTTP status")]
    meaning: Sentence
    cause: Sentence
    fix: Sentence


class RefusalError(MovewrightError):
    """A request that cannot be answered: which problem, and where in the body."""

    def __init__(
        self,
        problem: str,
        errors: tuple[FieldFault, ...] = (),
        headers: dict[str, str] | None = None,
    ) -> None:
        super().__init__(problem)
        self.problem = problem
        self.errors = errors
        self.headers = headers or {}


def _kind(type: str, status: int, title: str, meaning: str, cause: str, fix: str) -> ProblemType:
    return ProblemType(type=type, status=status, title=title, meaning=meaning, cause=cause, fix=fix)


PROBLEMS: dict[str, ProblemType] = {
    kind.type: kind
    for kind in (
        _kind(
            "bad-request",
            400,
            "The request cannot be understood",
            "Something in the request, outside its JSON body, is not valid HTTP for this service.",
            "A header, a path or a parameter that breaks its own rules.",
            "Send the request with an ordinary HTTP client and compare it with the contract.",
        ),
        _kind(
            "body-too-large",
            413,
            "The request body is too large",
            "The body is larger than this service reads. Nothing of it was used.",
            "Far more entries than one screen or clip can hold, or the wrong file.",
            "Send one screen in one request, below 256 KiB, or one clip of landmarks below 4 MiB.",
        ),
        _kind(
            "bulk-too-long",
            413,
            "The bulk request holds too many screens",
            "The lines up to the limit were answered; nothing after them was read.",
            "More lines in one request than this service takes.",
            "Send the rest in another request, or use `movewright bulk` on the file.",
        ),
        _kind(
            "empty-body",
            400,
            "The request body is empty",
            "The route needs a JSON body and none was sent.",
            "A client that dropped the body, or a redirect that turned it away.",
            "Send the screen as the body of the request.",
        ),
        _kind(
            "headers-too-large",
            431,
            "The headers are too large",
            "The headers of the request are more, or larger, than this service reads.",
            "Cookies of another site, or a proxy that adds to the headers again and again.",
            "Send fewer and shorter headers; none beyond those of the contract is needed.",
        ),
        _kind(
            "internal-error",
            500,
            "The service failed",
            "The fault is in the service, not in the request. Nothing was stored.",
            "An error of ours that no rule foresaw.",
            "Try once more; if it stays, report the time and the version headers of the answer.",
        ),
        _kind(
            "malformed-json",
            400,
            "The request body is not JSON",
            "The body ends too early, or holds something that JSON does not have.",
            "A trailing comma, a comment, NaN or Infinity, a byte order mark, half a surrogate "
            "pair, or more than one JSON text.",
            "Write the body with a JSON library, as one JSON text in UTF-8.",
        ),
        _kind(
            "method-not-allowed",
            405,
            "The route does not answer this method",
            "The path exists; the method does not fit it.",
            "GET where POST is needed, or the other way round.",
            "Use one of the methods that the Allow header of the answer names.",
        ),
        _kind(
            "nested-too-deeply",
            400,
            "The request body is nested too deeply",
            "Arrays and objects stand inside each other further than any screen needs.",
            "A body that is not a screen, or a program that wraps itself again and again.",
            "Follow the schema of the contract: a screen is at most five levels deep.",
        ),
        _kind(
            "not-acceptable",
            406,
            "The answer cannot have the form that was asked for",
            "The Accept header rules out every form in which this route answers.",
            "An Accept header without application/json.",
            "Accept application/json, or leave the header out.",
        ),
        _kind(
            "not-authorised",
            401,
            "The request carries no valid key",
            "This service answers only callers with an API key that is known and not expired.",
            "No Authorization header, a key that was mistyped, taken back or has expired.",
            "Send Authorization: Bearer with the key. Whoever runs the service hands keys out.",
        ),
        _kind(
            "not-found",
            404,
            "There is nothing here",
            "No route, kind, record, example or problem has this path.",
            "A misspelt path, or a record that this version of the knowledge does not serve.",
            "Look at /v1/catalog, /v1/examples, /problems and /openapi.json for what exists.",
        ),
        _kind(
            "not-ready",
            503,
            "The process is stopping",
            "It finishes what it has accepted and takes nothing new.",
            "A restart or a new version.",
            "Send the request to another process, or here again in a moment.",
        ),
        _kind(
            "not-the-schema",
            422,
            "The request body is JSON, but not what the contract describes",
            "A field is missing, unknown, of another type, or out of its bounds. "
            "`errors` points at the first such place.",
            "A number written as text, a word that is not in the list, or a misspelt field name "
            "(the pointer then names the object that holds it).",
            "Correct the place that the pointer names; the schema is in /openapi.json.",
        ),
        _kind(
            "not-utf8",
            400,
            "The request body is not UTF-8",
            "JSON is exchanged in UTF-8; the body holds bytes that are not.",
            "A file in another encoding, or text cut in the middle of a character.",
            "Encode the body in UTF-8.",
        ),
        _kind(
            "quota-used-up",
            429,
            "The quota of the key is used up",
            "The key has had all the requests that it may have in this minute.",
            "More requests than were agreed on.",
            "Wait as many seconds as Retry-After says; the RateLimit headers tell what is left.",
        ),
        _kind(
            "receive-timeout",
            408,
            "The request did not arrive in time",
            "The request was begun and did not become whole within the time there is for it.",
            "A connection that broke off, or a client that promised more bytes than it sent.",
            "Send the request again, at once and whole.",
        ),
        _kind(
            "too-much-work",
            503,
            "The service is busy",
            "As many requests as it takes at a time are being worked on. This one was not begun.",
            "More requests than the service can answer.",
            "Send it again after as many seconds as Retry-After says.",
        ),
        _kind(
            "unknown-query",
            400,
            "The route takes no query parameters",
            "Something stands after the question mark of the path, and no route reads it.",
            "An option that belongs in the body, or a parameter of another service.",
            "Leave the query out; options of a plan stand in the body under `options`.",
        ),
        _kind(
            "unsupported-encoding",
            415,
            "The request body is compressed",
            "The service reads bodies as they are, without compression.",
            "A Content-Encoding header other than identity.",
            "Send the body uncompressed, without Content-Encoding.",
        ),
        _kind(
            "unsupported-media-type",
            415,
            "The request body has the wrong media type",
            "The route reads JSON only, and the Content-Type header says otherwise or is missing.",
            "A form, a text, another character set, or no Content-Type at all.",
            "Send Content-Type: application/json.",
        ),
        _kind(
            "url-too-long",
            414,
            "The path is too long",
            "The path with its query is longer than this service reads.",
            "A body that was sent as a query, or a path that was put together in a loop.",
            "Send what belongs in the body as the body; no path of the contract is long.",
        ),
    )
}
"""Every problem by the last part of its path, in alphabetical order."""

BY_STATUS: dict[int, str] = {
    400: "bad-request",
    401: "not-authorised",
    404: "not-found",
    405: "method-not-allowed",
    406: "not-acceptable",
    413: "body-too-large",
    415: "unsupported-media-type",
    422: "not-the-schema",
    500: "internal-error",
}
"""Which problem a bare status of the framework becomes."""

_ENCODER = msgspec.json.Encoder()


def problem_of(kind: ProblemType, errors: tuple[FieldFault, ...]) -> Problem:
    """The problem that tells one caller about one kind of error."""
    return Problem(
        type=f"/problems/{kind.type}",
        title=kind.title,
        status=kind.status,
        detail=kind.meaning,
        errors=errors,
    )


def problem_response(
    type: str, errors: tuple[FieldFault, ...] = (), headers: dict[str, str] | None = None
) -> Response[bytes]:
    """The HTTP answer for one problem; never stored by caches."""
    kind = PROBLEMS[type]
    return Response(
        _ENCODER.encode(problem_of(kind, errors)),
        status_code=kind.status,
        media_type=PROBLEM_MEDIA,
        headers={**(headers or {}), "Cache-Control": NO_STORE},
    )
