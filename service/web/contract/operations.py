"""Every operation of the contract as a row: path, names, words, and the struct it answers with.

Over 400 lines, because it is one table, read from top to bottom like the contract.
"""

from msgspec import Struct

from service.landmarks.layouts import layout_words
from service.web.catalog import RECORDS
from service.web.media import HTML_MEDIA, LINKSET_MEDIA, NDJSON_MEDIA, PDF_MEDIA, TEXT_MEDIA
from service.web.request import JSON_MEDIA, SVG_MEDIA


class Parameter(Struct, frozen=True, kw_only=True):
    """A part of a path, or of a query that may be left out."""

    name: str
    description: str
    example: str
    values: tuple[str, ...] = ()
    """All it can be, where that is fixed."""
    in_query: bool = False


class Link(Struct, frozen=True, kw_only=True):
    """An operation to follow with, and where its parameters stand in this request or answer."""

    name: str
    operation: str
    parameters: tuple[tuple[str, str], ...] = ()
    body: str = ""
    """Where the body to send stands; empty for an operation that takes none."""


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
    media: str = JSON_MEDIA
    also: tuple[str, ...] = ()
    """Other media types that it answers in when asked, as text."""
    body: str = "Screen"
    """The component schema of what is posted."""
    is_open: bool = False
    """Answers without a key where the service demands one."""
    may_be_missing: bool = False
    """Can be 404 although its path has no parameter."""


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

PAGES = ("/assets", "/docs", "/embed", "/kiosk")
"""Paths of pages for people, which are no part of the contract for software."""

OPERATIONS: tuple[Operation, ...] = (
    Operation(
        path="/.well-known/api-catalog",
        id="getApiCatalog",
        tag="operate",
        summary="Find the API of this host",
        description="The API catalogue of RFC 9727: where the contract, the versions and the "
        "state of the service are. Needs no key.",
        answer="ApiCatalog",
        answer_says="A linkset of one API.",
        media=LINKSET_MEDIA,
        is_open=True,
    ),
    Operation(
        path="/.well-known/security.txt",
        id="getSecurityContact",
        tag="operate",
        summary="Find out where to report a weakness",
        description="The file of RFC 9116, if whoever runs the service has named a contact. "
        "Needs no key.",
        answer="Text",
        answer_says="Contact and expiry.",
        media=TEXT_MEDIA,
        is_open=True,
        may_be_missing=True,
    ),
    Operation(
        path="/livez",
        is_open=True,
        id="isAlive",
        tag="operate",
        summary="Tell whether the process answers",
        description="Answers as long as the process runs.",
        answer="Health",
        answer_says="The process answers.",
        cached=False,
    ),
    Operation(
        path="/metrics",
        id="getMetrics",
        tag="operate",
        summary="Read the counts of this service",
        description="All counts of all workers in the text format of Prometheus. Holds nothing "
        "that a caller sent.",
        answer="Text",
        answer_says="The counts.",
        media=TEXT_MEDIA,
        cached=False,
    ),
    Operation(
        path="/openapi.json",
        is_open=True,
        id="getContract",
        tag="operate",
        summary="Read this contract",
        description="This document, byte for byte as published.",
        answer="Contract",
        answer_says="The contract, an OpenAPI 3.1 document.",
    ),
    Operation(
        path="/problems",
        is_open=True,
        id="listProblems",
        also=(HTML_MEDIA,),
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
        is_open=True,
        id="getProblem",
        also=(HTML_MEDIA,),
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
        is_open=True,
        id="isReady",
        tag="operate",
        summary="Tell whether the process can decide",
        description="A process listens only once its pack is compiled, so it is ready until it is "
        "told to stop; from then on this is 503, while what was accepted is finished.",
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
        path="/v1/bulk/plan",
        id="makePlans",
        method="post",
        tag="decide",
        summary="Make plans from many screens",
        description="One screen a line (NDJSON), or a JSON array of screens; one line of NDJSON "
        "back for each, in the same order, as soon as it is decided: "
        '`{"line": 1, "answer": ...}` or `{"line": 1, "problem": ...}`. Lines count from 1; '
        "empty ones are counted and not answered. The last line is "
        '`{"summary": {"lines", "answers", "problems", "sha256", "pack", "complete"}}`, with the '
        "SHA-256 of every byte before it: an answer without it was cut off. Read the answer while "
        "sending, for the service reads no further than it can write. A line is at most 256 KiB, "
        "and so is an array; `complete` is false where the limit of lines was reached.",
        answer="Text",
        answer_says="Lines of JSON: `BulkAnswer`, `BulkProblem`, and at the end `BulkSummary`.",
        cached=False,
        media=NDJSON_MEDIA,
        body="Bulk",
    ),
    Operation(
        path="/v1/catalog",
        id="listKinds",
        also=(HTML_MEDIA,),
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
        path="/v1/catalog/graph",
        id="getGraph",
        tag="catalog",
        summary="Read how the records hang together",
        description="Every live record that takes part in a decision as a node, and how one bears "
        "on another as an edge: what makes, trains, carries over, takes away, rests on.",
        answer="PackGraph",
        answer_says="All nodes and edges, sorted.",
    ),
    Operation(
        path="/v1/catalog/{kind}",
        id="listRecords",
        also=(HTML_MEDIA,),
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
        also=(HTML_MEDIA,),
        tag="catalog",
        summary="Read one record",
        description="One live record, in the same form as a list: `items` holds that record alone.",
        answer="RecordList",
        answer_says="The record, alone in `items`.",
        parameters=(_KIND, _RECORD),
    ),
    Operation(
        path="/v1/catalog/{kind}/{record}/picture.svg",
        id="drawRecord",
        tag="catalog",
        summary="Draw one record",
        description="A picture of one finding: its causes, the strongest first, the drills that "
        "train each of them, and the sources of each link. Or of one drill: from the start to "
        "the end of a repetition, what works in black; `side` says which side works, and may be "
        "left out. A drill without poses has no picture and answers 404.",
        answer="Picture",
        answer_says="The picture.",
        parameters=(
            Parameter(
                name="kind",
                description="A kind of record that has pictures.",
                example="findings",
                values=("drills", "findings"),
            ),
            Parameter(name="record", description="The id of a live record.", example="knee_in"),
            Parameter(
                name="side",
                description="The side that works in a drill's picture, `right` if not told; "
                "refused for findings.",
                example="left",
                values=("left", "right"),
                in_query=True,
            ),
        ),
        media=SVG_MEDIA,
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
        links=(
            Link(name="check", operation="findNextCheck", body="$response.body"),
            Link(name="plan", operation="makePlan", body="$response.body"),
            Link(name="read", operation="validateScreen", body="$response.body"),
        ),
    ),
    Operation(
        path="/v1/landmarks",
        id="readLandmarks",
        method="post",
        tag="decide",
        summary="Read a clip of body landmarks",
        description="Measures a clip of 2D landmarks of one person and grades what it shows, with "
        "its uncertainty. `observations` and `measurements` go into a screen as they stand; a "
        "finding whose grade has no probability of at least 0.95 is in `uncertain`; what the view "
        "or the layout cannot show is in `not_observable` with the check to do instead. Values are "
        "to be trusted, and at most one grade in twenty is wrong, where the camera stands at least "
        "3 m away at 0.5 to 1.2 m height, within 5 degrees of square and 2 of level, the client "
        "within 15 cm of the middle, three repetitions or more at 20 frames a second or more, and "
        "landmarks steady to 1 % of the shank. On one leg a camera further off square cannot be "
        "told from the landmarks. Knee in is positive on both sides, flexion is positive, midline "
        "measures are positive towards the client's left. "
        + layout_words()
        + " The body is at most 4 MiB. The same clip and pack give the same answer.",
        answer="LandmarkAnswer",
        answer_says="What the clip shows.",
        cached=False,
        body="Clip",
    ),
    Operation(
        path="/v1/next-check",
        id="findNextCheck",
        method="post",
        tag="decide",
        summary="Find what to check next",
        description="Scores every look that client, room, setting, kit and cautions allow: a "
        "change not yet tried, a finding not yet looked for, a measurement not yet taken. `gain` "
        "is the sum, over what it may show, of the probability times what the best session then "
        "would be worth more than today's session then; `bits` is the expected information on the "
        "cause it tells most about. Both come from the model that plans, with nothing sampled: "
        "a sighting is split into its grades so that all answers add up to one, and the bins of a "
        "measurement are read at the value that has the bin's likelihood ratio. Ranked by gain a "
        "minute, set-up included; a check that settles a disagreement between a number and what "
        "was seen comes first. An empty list means that nothing more is worth its time. The same "
        "computation as `next_checks` of a plan. It decides hundreds of times and takes far longer "
        "than a plan.",
        answer="NextCheckAnswer",
        answer_says="The checks worth their time, best first, at most five.",
        cached=False,
    ),
    Operation(
        path="/v1/plan",
        id="makePlan",
        also=(HTML_MEDIA, PDF_MEDIA),
        parameters=(
            Parameter(
                name="paper",
                description="Paper of a card; `any` leaves it to whoever prints.",
                example="a4",
                values=("a4", "any", "letter"),
                in_query=True,
            ),
            Parameter(
                name="type",
                description="Size of the letters of a card.",
                example="large",
                values=("large", "normal"),
                in_query=True,
            ),
        ),
        method="post",
        tag="decide",
        summary="Make a plan from a screen",
        description="Decides whether it is safe to go on, what is likely, what to do today and "
        "how to see whether it worked, with the reasons. The same screen and pack give the same "
        "answer. An entry that fits the schema but cannot be used is left out and named in "
        "`warnings`. Of two equal names in one JSON object the last one counts. Sentences come in "
        "`options.language`, else in the language that Accept-Language asks for (en or de; any "
        "other is answered in English); drill names and drill texts are English so far. What "
        "`options.include` does not ask for is empty or null. `firmness`: the same evidence is "
        "weighed again with the links of a cause weaker and those of every cause ranked below it "
        "stronger, by one and two of the pack's spreads; `firm` if it still outweighs each of them "
        "at two, `likely` only at one, else `open`. `turning_points`: of each kind the smallest "
        "single change of the screen that changes verdict, leading cause or first step, found by "
        "planning again; its `decision` is that of the changed screen. `trace` (with explain "
        "`full`) does not cover the sums inside inference, nor sets of drills that the search "
        "passed over.",
        answer="Answer",
        answer_says="The plan, or the advice to see a licensed professional.",
        cached=False,
        links=(
            Link(
                name="cause",
                operation="getRecord",
                parameters=(("kind", "causes"), ("record", "$response.body#/causes/0/cause")),
            ),
            Link(
                name="step",
                operation="getRecord",
                parameters=(
                    ("kind", "drills"),
                    ("record", "$response.body#/session/steps/0/drill"),
                ),
            ),
        ),
    ),
    Operation(
        path="/v1/review",
        id="makeReview",
        method="post",
        tag="decide",
        summary="See whether it worked",
        description="Compares a baseline with a retest. A measurement has changed if the "
        "difference is more than the MDC95 of its measure and method (`real_change`, null where "
        "none is published; where the rater is not known to be the same, the larger one). A "
        "finding has the likeliest outcome given both looks and how well an eye sees it, change "
        "and no change being equally likely beforehand. Beliefs come from both screens together: "
        "a cause at the retest depends on the same cause at the baseline, the less so the more "
        "days lie between, so it does not get two independent priors. `between` adds screens for "
        "the trends of measurements; beliefs and findings rest on the first and the last. Each "
        "drill in `done` is to be made harder, "
        "kept, made easier or swapped, with the criterion met. `next` is the plan for the retest "
        "with what the baseline says in it; its `decision` is that of the review, and "
        "`options.include` and `explain` are not followed there. Retests before the baseline, "
        "unknown drills, other units, methods and sides stand in `warnings` and are used as far "
        "as that is honest. Sentences come in the language that `retest.options.language` names, "
        "else in the language that Accept-Language asks for. `charts` adds an SVG to each "
        "measure.",
        answer="ReviewAnswer",
        answer_says="What changed, what follows for each drill, and the next plan.",
        cached=False,
        body="ReviewRequest",
    ),
    Operation(
        path="/v1/series",
        id="makeSeries",
        method="post",
        tag="decide",
        summary="Lay out the weeks ahead",
        description="Plans up to twelve weeks from one screen, each session the best one given "
        "those before it: a cause that the week has dosed already counts for less, a drill comes "
        "no more often than its dose says, and what was begun is kept. Harder versions come one "
        "at a time, each with the sign that must be there first. A longer series begins like a "
        "shorter one. Cautions, kit, level, minutes and `avoid` hold in every session. Weeks "
        "beyond the first retest are `provisional`. A referral or nothing found gives no weeks, "
        "`practise` at most three, `unsure` one, to bridge the time until somebody looks again. "
        "An unknown ladder begins one rung easier than a plan for today alone would choose. "
        "Sentences come in the language that `screen.options.language` names, else in the "
        "language that Accept-Language asks for; drill texts are English so far. `minutes` "
        "counts before the minutes of the screen; `include` and `explain` change nothing here.",
        answer="SeriesAnswer",
        answer_says="The weeks, or the advice to see a licensed professional.",
        cached=False,
        body="SeriesRequest",
    ),
    Operation(
        path="/v1/validate",
        id="validateScreen",
        method="post",
        tag="decide",
        summary="See a screen as it is understood",
        description="Reads a screen as a plan would, without deciding: each event with all its "
        "views and the trials that count, each measurement with its likelihood ratio, what is "
        "known, and in `warnings` what would be ignored and why. `stops` tells whether a plan "
        "would refer.",
        answer="Validation",
        answer_says="What is understood, and what would be ignored.",
        cached=False,
    ),
)
"""Sorted by path."""
