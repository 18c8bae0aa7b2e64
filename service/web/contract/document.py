"""The contract as one document: operations from the table, schemas from the structs.

The framework's own schemas leave bounds and closed objects out, so none of it is used; a test
holds the table against the routes that are mounted.
"""

import inspect
import json
from collections.abc import Iterable

import msgspec
from msgspec import Struct

from service.engine.plan import CONTRACT
from service.model.answer import Answer, NextCheckAnswer, Validation
from service.model.graph import Pack
from service.model.landmarks import Clip, LandmarkAnswer
from service.model.review import ReviewAnswer, ReviewRequest
from service.model.screen import Screen
from service.model.series import SeriesAnswer, SeriesRequest
from service.web.bulk import BulkAnswer, BulkProblem, BulkSummary
from service.web.catalog import RECORDS, CatalogKind
from service.web.contract.bulk import KEY_SCHEME, bulk_body
from service.web.contract.operations import OPERATIONS, TAGS, Link, Operation, Parameter
from service.web.contract.words import WORDS
from service.web.graph import PackGraph
from service.web.outgoing import SOMETIMES
from service.web.problems import PROBLEM_MEDIA, PROBLEMS, Problem, ProblemType
from service.web.reading import Json
from service.web.request import JSON_MEDIA
from service.web.routes.about import About
from service.web.routes.examples import ExampleList
from service.web.routes.health import Health
from service.web.routes.ops import ApiCatalog
from service.web.routes.problems import ProblemList
from service.web.shipped import examples

Object = dict[str, Json]

DESCRIPTION = (
    "Turns a screen of how a client moves into a safe, ranked, justified drill plan. It stores "
    "nothing. It is a decision aid for people who train people: it diagnoses nothing and defers "
    "to licensed practice and local rules; nothing in the pack is signed off by a clinician.\n\n"
    "Every route that answers GET answers HEAD, and OPTIONS names the methods of a path. Every "
    "error is a problem of RFC 9457, explained at its `type`, and never repeats what was sent. "
    "Bodies are JSON in UTF-8, at most 256 KiB (a clip of landmarks 4 MiB), without NaN or "
    "Infinity. Read routes carry an ETag and honour If-None-Match."
)

_HEADERS: dict[str, str] = {
    "Movewright-Contract": "Version of this contract.",
    "Movewright-Pack": "Version and digest of the knowledge that answers.",
    "Movewright-Service": "Version of the service that answers.",
}
_CACHE_HEADERS: dict[str, str] = {
    "ETag": "Names this version of the document.",
    "Vary": "What the document depends on besides its path.",
}


SPOKEN = ("ReviewRequest", "Screen", "SeriesRequest")
"""The bodies that hold a screen, whose answers are sentences in a language."""
_LANGUAGE_HEADERS: dict[str, str] = {
    "Content-Language": "The language of the sentences.",
    "Vary": _CACHE_HEADERS["Vary"],
}


_ACCEPT_LANGUAGE: Object = {
    "name": "Accept-Language",
    "in": "header",
    "required": False,
    "description": "The languages wanted, best first; `options.language` counts before it.",
    "schema": {"type": "string"},
    "example": "de, en;q=0.5",
}


def contract_bytes() -> bytes:
    """The contract as it is published: keys sorted, two spaces, one newline at the end."""
    text = json.dumps(_document(), indent=2, sort_keys=True, ensure_ascii=False)
    return text.encode() + b"\n"


def _document() -> Object:
    paths: dict[str, Json] = {}
    for operation in OPERATIONS:
        paths[operation.path] = {operation.method: _operation(operation)}
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Movewright",
            "version": CONTRACT,
            "summary": "From a screen of how a client moves to a drill plan that says why.",
            "description": DESCRIPTION,
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": "/", "description": "Where this contract was read from."}],
        # A service without keys takes calls without; one with keys demands them.
        "security": [{}, {"key": []}],
        "tags": [{"name": name, "description": words} for name, words in TAGS],
        "paths": paths,
        "components": {
            "headers": _header_components(),
            "responses": {f"Status{status}": _problem_answer(status) for status in _statuses()},
            "schemas": _schemas(),
            "securitySchemes": {"key": KEY_SCHEME},
        },
    }


def _operation(operation: Operation) -> Object:
    answers: Object = {"200": _answer(operation)}
    if operation.cached:
        answers["304"] = {
            "description": "The caller holds this version already.",
            "headers": _headers((*_HEADERS, *_CACHE_HEADERS)),
        }
    for status in _problem_statuses(operation):
        answers[str(status)] = {"$ref": f"#/components/responses/Status{status}"}
    written: Object = {
        "operationId": operation.id,
        "summary": operation.summary,
        "description": operation.description,
        "tags": [operation.tag],
        "responses": answers,
    }
    if operation.is_open:
        written["security"] = []
    if operation.parameters:
        written["parameters"] = [_parameter(parameter) for parameter in operation.parameters]
    if operation.body in SPOKEN and operation.method == "post":
        written["parameters"] = [*written.get("parameters", []), _ACCEPT_LANGUAGE]  # type: ignore[misc]
    if operation.method == "post":
        bodies = {"Bulk": bulk_body, "Clip": _clip_body, "Screen": _screen_body,
                  "ReviewRequest": _review_body, "SeriesRequest": _series_body}  # fmt: skip
        written["requestBody"] = bodies[operation.body]()
    return written


def _problem_statuses(operation: Operation) -> Iterable[int]:
    yield from (400, 405, 406, 408, 414, 431, 500)
    if any(not one.in_query for one in operation.parameters) or operation.may_be_missing:
        yield 404
    if not operation.is_open:
        yield from (401, 429)
    if operation.method == "post":
        yield from (413, 415, 422)
    if operation.method == "post" or operation.id == "isReady":
        yield 503


def _answer(operation: Operation) -> Object:
    names = (*_HEADERS, *_CACHE_HEADERS) if operation.cached else tuple(_HEADERS)
    if operation.body in SPOKEN and operation.method == "post":
        names = (*names, *_LANGUAGE_HEADERS)
    written: Object = {
        "description": operation.answer_says,
        "headers": _headers(names),
        "content": {
            operation.media: {"schema": _ref(operation.answer)},
            **{media: {"schema": {"type": "string"}} for media in operation.also},
        },
    }
    if operation.links:
        written["links"] = {link.name: _link(link) for link in operation.links}
    return written


def _link(link: Link) -> Object:
    written: Object = {"operationId": link.operation}
    if link.parameters:
        written["parameters"] = dict(link.parameters)
    if link.body:
        written["requestBody"] = link.body
    return written


def _parameter(parameter: Parameter) -> Object:
    schema: Object = {"type": "string", "minLength": 1, "maxLength": 64}
    if parameter.values:
        schema = {"type": "string", "enum": list(parameter.values)}
    example = parameter.example or next(iter(examples()), "")
    return {
        "name": parameter.name,
        "in": "query" if parameter.in_query else "path",
        "required": not parameter.in_query,
        "description": parameter.description,
        "schema": schema,
        "example": example,
    }


def _screen_body() -> Object:
    shown: Object = {
        name: {"summary": name.replace("_", " "), "value": json.loads(body)}
        for name, body in examples().items()
    }
    return {
        "required": True,
        "description": "One screen.",
        "content": {JSON_MEDIA: {"schema": _ref("Screen"), "examples": shown}},
    }


def _series_body() -> Object:
    return _shown_body("series", "SeriesRequest", "One screen, and the weeks to lay out from it.")


def _review_body() -> Object:
    return _shown_body("review", "ReviewRequest", "Two screens, and what lay between them.")


def _shown_body(folder: str, kind: str, description: str) -> Object:
    """A body with the examples of its folder."""
    shown: Object = {
        name: {"summary": name.replace("_", " "), "value": json.loads(body)}
        for name, body in examples(folder).items()
    }
    return {
        "required": True,
        "description": description,
        "content": {JSON_MEDIA: {"schema": _ref(kind), "examples": shown}},
    }


def _clip_body() -> Object:
    points: Json = [[300, 200, 0.9]] * 17
    shown: Object = {"movement": "squat", "view": "front", "layout": "coco17", "fps": 30}
    return {
        "required": True,
        "description": "One clip.",
        "content": {
            JSON_MEDIA: {
                "schema": _ref("Clip"),
                "examples": {"one_frame": {"value": {**shown, "frames": [points]}}},
            }
        },
    }


def _statuses() -> tuple[int, ...]:
    return tuple(sorted({kind.status for kind in PROBLEMS.values()}))


def _problem_answer(status: int) -> Object:
    kinds = [kind for kind in PROBLEMS.values() if kind.status == status]
    headers = _headers(tuple(_HEADERS))
    headers.update(_extra_headers(status))
    if status == 405:
        headers["Allow"] = {
            "description": "The methods that the path answers.",
            "required": True,
            "schema": {"type": "string"},
        }
    return {
        "description": " ".join(f"{kind.title} (`{kind.type}`)." for kind in kinds),
        "headers": headers,
        "content": {PROBLEM_MEDIA: {"schema": _ref("Problem")}},
    }


def _extra_headers(status: int) -> Object:
    names = {401: ("WWW-Authenticate",), 429: ("RateLimit", "RateLimit-Policy", "Retry-After")}
    names[503] = ("Retry-After",)
    return {
        name: {"description": SOMETIMES[name], "required": True, "schema": {"type": "string"}}
        for name in names.get(status, ())
    }


def _headers(names: Iterable[str]) -> Object:
    return {name: {"$ref": f"#/components/headers/{name}"} for name in names}


def _header_components() -> Object:
    return {
        name: {"description": words, "required": True, "schema": {"type": "string"}}
        for name, words in {**_HEADERS, **_CACHE_HEADERS, **_LANGUAGE_HEADERS}.items()
    }


def _schemas() -> Object:
    kinds: list[type[Struct]] = [
        Screen,
        Answer,
        BulkAnswer,
        BulkProblem,
        BulkSummary,
        Clip,
        LandmarkAnswer,
        ApiCatalog,
        NextCheckAnswer,
        Problem,
        ProblemType,
        ProblemList,
        ReviewAnswer,
        ReviewRequest,
        SeriesAnswer,
        SeriesRequest,
        Validation,
    ]
    kinds += [About, ExampleList, Health, CatalogKind, Pack, PackGraph, *RECORDS.values()]
    _, found = msgspec.json.schema_components(kinds, ref_template="#/components/schemas/{name}")
    schemas: dict[str, Object] = {**found}
    for name, schema in schemas.items():
        _put_words(name, schema)
    lists: list[Json] = [
        {"type": "array", "items": _ref(kind.__name__)} for kind in RECORDS.values()
    ]
    schemas["RecordList"] = _list_of({"anyOf": lists}, "Live records of one kind.")
    schemas["KindList"] = _list_of(
        {"type": "array", "items": _ref("CatalogKind")}, "The kinds of record."
    )
    schemas["Text"] = {"title": "Text", "description": "Lines of text.", "type": "string"}
    schemas["Picture"] = {
        "title": "Picture",
        "description": "An SVG document with its title and description in words.",
        "type": "string",
    }
    schemas["Contract"] = {
        "title": "Contract",
        "description": "An OpenAPI document.",
        "type": "object",
        "properties": {"openapi": {"type": "string"}},
        "required": ["openapi"],
    }
    return {**schemas}


def _list_of(items: Object, words: str) -> Object:
    return {
        "description": words,
        "type": "object",
        "properties": {"items": items, "pack": _ref("Pack")},
        "required": ["items", "pack"],
    }


def _put_words(name: str, schema: Object) -> None:
    """Clean the docstring, and describe the fields that have words."""
    if isinstance(schema.get("description"), str):
        schema["description"] = inspect.cleandoc(str(schema["description"]))
    properties = schema.get("properties")
    if not isinstance(properties, dict):
        return
    for field, described in properties.items():
        words = WORDS.get(f"{name}.{field}")
        if words is not None and isinstance(described, dict):
            described["description"] = words


def _ref(name: str) -> Object:
    return {"$ref": f"#/components/schemas/{name}"}
