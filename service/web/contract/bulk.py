"""The body of a bulk request and the key that a service may demand, as the contract has them."""

import json

from service.web.media import NDJSON_MEDIA
from service.web.reading import Json
from service.web.request import JSON_MEDIA
from service.web.shipped import examples

KEY_SCHEME: dict[str, Json] = {
    "type": "http",
    "scheme": "bearer",
    "description": "An API key, handed out by whoever runs the service, in the Authorization "
    "header. A service that listens on the loopback only may run without keys.",
}


def bulk_body() -> dict[str, Json]:
    """An array of screens, with an example, or lines of them.

    Lines have no example: fuzzers that cannot write them would stop at it.
    """
    shown = [json.loads(body) for body in list(examples().values())[:2]]
    screen: Json = {"$ref": "#/components/schemas/Screen"}
    return {
        "required": True,
        "description": "Screens, one a line or in one array.",
        "content": {
            JSON_MEDIA: {
                "schema": {"type": "array", "items": {}, "maxItems": 100_000},
                "examples": {"two": {"summary": "two screens", "value": shown}},
            },
            NDJSON_MEDIA: {
                "schema": {
                    "type": "string",
                    "description": "Each line is a Screen.",
                    "maxLength": 2**31 - 1,
                },
            },
        },
        "x-line": screen,
    }
