"""Every operation of the contract as a row: path, names, words, and the struct it answers with."""

from msgspec import Struct

from service.web.catalog import RECORDS


class Parameter(Struct, frozen=True, kw_only=True):
    """A part of a path."""

    name: str
    description: str
    example: str
    values: tuple[str, ...] = ()
    """All it can be, where that is fixed."""


class Link(Struct, frozen=True, kw_only=True):
    """An operation to follow with, and where its parameters stand in this request or answer."""

    name: str
    operation: str
    parameters: tuple[tuple[str, str], ...]


class Operation(Struct, frozen=True, kw_only=True):
    """One route of the service. `answer` names a component schema."""

    path: str
    id: str
    tag: str
    summary: str
    description: str
    answer: str
    answer_says: str
    method: str = "get"
    parameters: tuple[Parameter, ...] = ()
    links: tuple[Link, ...] = ()
    cached: bool = True
    """Carries an ETag and can be answered with 304."""


TAGS: tuple[tuple[str, str], ...] = (
    ("catalog", "What the pack knows: live records, with their sources and when they mislead."),
    ("decide", "From a screen of how a client moves to a plan that says why."),
    ("operate", "Whether the process runs, and which versions answer."),
    ("read", "Example screens, and every error explained."),
)

_KIND = Parameter(
    name="kind",
    description="A kind of record, in the plural.",
    example="movements",
    values=tuple(RECORDS),
)
_RECORD = Parameter(
    name="record", description="The id of a live record of that kind.", example="squat"
)

OPERATIONS: tuple[Operation, ...] = (
    Operation(
        path="/livez",
        id="isAlive",
        tag="operate",
        summary="Tell whether the process answers",
        description="Answers as long as the process runs.",
        answer="Health",
        answer_says="The process answers.",
        cached=False,
    ),
    Operation(
        path="/openapi.json",
        id="getContract",
        tag="operate",
        summary="Read this contract",
        description="This document, byte for byte as published.",
        answer="Contract",
        answer_says="The contract, an OpenAPI 3.1 document.",
    ),
    Operation(
        path="/problems",
        id="listProblems",
        tag="read",
        summary="List every kind of error",
        description="Every error that the service answers with: meaning, cause and fix.",
        answer="ProblemList",
        answer_says="Every kind of error, in alphabetical order.",
        links=(
            Link(
                name="first",
                operation="getProblem",
                parameters=(("type", "$response.body#/items/0/type"),),
            ),
        ),
    ),
    Operation(
        path="/problems/{type}",
        id="getProblem",
        tag="read",
        summary="Explain one kind of error",
        description="The page that the `type` of an error names: meaning, cause and fix.",
        answer="ProblemType",
        answer_says="The kind of error.",
        parameters=(
            Parameter(
                name="type",
                description="The last part of the `type` of an error.",
                example="not-the-schema",
            ),
        ),
    ),
    Operation(
        path="/readyz",
        id="isReady",
        tag="operate",
        summary="Tell whether the process can decide",
        description="A process listens only once its pack is compiled, so it is ready when alive.",
        answer="Health",
        answer_says="The process can decide.",
        cached=False,
    ),
    Operation(
        path="/v1/about",
        id="getAbout",
        tag="operate",
        summary="Name the versions that answer",
        description="Versions of service, contract and pack, the digest of the pack, and what "
        "the service is for.",
        answer="About",
        answer_says="The versions.",
    ),
    Operation(
        path="/v1/catalog",
        id="listKinds",
        tag="catalog",
        summary="List the kinds of record",
        description="The kinds of record, and how many of each are live.",
        answer="KindList",
        answer_says="The kinds, in alphabetical order.",
        links=(
            Link(
                name="first",
                operation="listRecords",
                parameters=(("kind", "$response.body#/items/0/kind"),),
            ),
        ),
    ),
    Operation(
        path="/v1/catalog/{kind}",
        id="listRecords",
        tag="catalog",
        summary="List all records of a kind",
        description="Every live record of a kind, whole, in the order of their ids. "
        "Drafts and retired records are not served.",
        answer="RecordList",
        answer_says="The records, all of the kind that the path names.",
        parameters=(_KIND,),
        links=(
            Link(
                name="first",
                operation="getRecord",
                parameters=(
                    ("kind", "$request.path.kind"),
                    ("record", "$response.body#/items/0/id"),
                ),
            ),
        ),
    ),
    Operation(
        path="/v1/catalog/{kind}/{record}",
        id="getRecord",
        tag="catalog",
        summary="Read one record",
        description="One live record, in the same form as a list: `items` holds that record alone.",
        answer="RecordList",
        answer_says="The record, alone in `items`.",
        parameters=(_KIND, _RECORD),
    ),
    Operation(
        path="/v1/examples",
        id="listExamples",
        tag="read",
        summary="List the example screens",
        description="The names of ready screens, each of which can be sent to `/v1/plan` as it is.",
        answer="ExampleList",
        answer_says="The names, in alphabetical order.",
        links=(
            Link(
                name="first",
                operation="getExample",
                parameters=(("name", "$response.body#/items/0/name"),),
            ),
        ),
    ),
    Operation(
        path="/v1/examples/{name}",
        id="getExample",
        tag="read",
        summary="Read one example screen",
        description="One screen, byte for byte as shipped.",
        answer="Screen",
        answer_says="The screen.",
        parameters=(Parameter(name="name", description="The name of an example.", example=""),),
    ),
    Operation(
        path="/v1/plan",
        id="makePlan",
        method="post",
        tag="decide",
        summary="Make a plan from a screen",
        description="Decides whether it is safe to go on, what is likely, what to do today and "
        "how to see whether it worked, with the reasons. The same screen and pack give the same "
        "answer. An entry that fits the schema but cannot be used is left out and named in "
        "`warnings`. Of two equal names in one JSON object the last one counts.",
        answer="Answer",
        answer_says="The plan, or the advice to see a licensed professional.",
        cached=False,
    ),
)
"""Sorted by path."""
