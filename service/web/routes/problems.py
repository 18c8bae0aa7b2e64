"""`GET /problems...`: every error explained, at the path that the error itself names."""

import msgspec
from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath
from msgspec import Struct

from service.web.documents import ReadRequest, of_content, serve
from service.web.pages.records import problem_page, problems_page
from service.web.problems import PROBLEMS, ProblemType
from service.web.routes.reading import PAGED, READ, as_page, found, wants_page


class ProblemList(Struct, frozen=True, kw_only=True):
    """Every kind of error, in alphabetical order."""

    items: tuple[ProblemType, ...]


def problem_routes() -> list[HTTPRouteHandler]:
    """The handlers of the list and of one kind of error."""
    listed = of_content(msgspec.json.encode(ProblemList(items=tuple(PROBLEMS.values()))))
    pages = {type: of_content(msgspec.json.encode(kind)) for type, kind in PROBLEMS.items()}

    @route("/problems", http_method=READ, opt=PAGED, sync_to_thread=False)
    def list_problems(request: ReadRequest) -> Response[bytes]:
        """Every kind of error."""
        if wants_page(request):
            return as_page(request, listed, problems_page)
        return serve(request, listed)

    @route("/problems/{type:str}", http_method=READ, opt=PAGED, sync_to_thread=False)
    def get_problem(request: ReadRequest, type: FromPath[str]) -> Response[bytes]:
        """One kind of error."""
        one = found(pages, type)
        if wants_page(request):
            return as_page(request, one, lambda: problem_page(PROBLEMS[type]))
        return serve(request, one)

    return [list_problems, get_problem]
