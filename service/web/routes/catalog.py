"""`GET /v1/catalog...`: everything the pack knows, whole lists and single records."""

from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from service.model.graph import Graph
from service.web.catalog import catalog_of
from service.web.documents import ReadRequest, serve
from service.web.pages.records import kind_page, kinds_page, record_page
from service.web.problems import RefusalError
from service.web.routes.reading import PAGED, READ, as_page, found, wants_page


def catalog_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handlers of the overview, a kind, and a record; a browser gets the same as a page."""
    catalog = catalog_of(graph)

    @route("/v1/catalog", http_method=READ, opt=PAGED, sync_to_thread=False)
    def list_kinds(request: ReadRequest) -> Response[bytes]:
        """The kinds of record, and how many of each are live."""
        if wants_page(request):
            return as_page(request, catalog.overview, lambda: kinds_page(catalog.counted))
        return serve(request, catalog.overview)

    @route("/v1/catalog/{kind:str}", http_method=READ, opt=PAGED, sync_to_thread=False)
    def list_records(request: ReadRequest, kind: FromPath[str]) -> Response[bytes]:
        """All live records of a kind."""
        listed = found(catalog.kinds, kind)
        if wants_page(request):
            return as_page(request, listed, lambda: kind_page(kind, catalog.structs[kind]))
        return serve(request, listed)

    @route("/v1/catalog/{kind:str}/{record:str}", http_method=READ, opt=PAGED, sync_to_thread=False)
    def get_record(
        request: ReadRequest, kind: FromPath[str], record: FromPath[str]
    ) -> Response[bytes]:
        """One live record."""
        if kind not in catalog.records:
            raise RefusalError("not-found")
        one = found(catalog.records[kind], record)
        if wants_page(request):
            shown = catalog.structs[kind][record]
            drawn = kind == "findings" or (kind == "drills" and bool(graph.drills[record].poses))
            return as_page(
                request, one, lambda: record_page(kind, record, shown, graph, has_picture=drawn)
            )
        return serve(request, one)

    return [list_kinds, list_records, get_record]
