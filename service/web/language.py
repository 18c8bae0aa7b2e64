"""Which language an answer is given in: what the screen asks for, else what the header accepts.

Apart from the routes because every answer to a screen settles it in the same way.
"""

from collections.abc import Mapping

import msgspec
from litestar import Request
from litestar.datastructures import State

from service.engine.languages import language_accepted, language_of
from service.model.graph import Graph
from service.model.screen import Screen
from service.web.problems import NO_STORE

ACCEPT_LANGUAGE = "Accept-Language"


def in_language(
    screen: Screen, request: Request[object, object, State], graph: Graph
) -> tuple[Screen, Mapping[str, str]]:
    """The screen with its language settled, and the headers of the answer.

    `options.language` counts before the header; a language that is not there is English.
    """
    wanted = screen.options.language
    if wanted is None:
        language = language_accepted(request.headers.get("accept-language"), graph)
    else:
        language = language_of(wanted, graph)
    if language != wanted:
        options = msgspec.structs.replace(screen.options, language=language)
        screen = msgspec.structs.replace(screen, options=options)
    return screen, {
        "Cache-Control": NO_STORE,
        "Content-Language": language,
        "Vary": ACCEPT_LANGUAGE,
    }
