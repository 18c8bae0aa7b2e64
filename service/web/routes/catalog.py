"""`GET /v1/catalog...`: everything the pack knows, whole lists and single records."""

from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from service.model.graph import Graph
from service.web.catalog import catalog_of
from service.web.documents import ReadRequest, serve
from service.web.problems import RefusalError
from service.web.routes.reading import READ, found


def catalog_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handlers of the overview, a kind, and a record."""
    catalog = catalog_of(graph)

    @route("/v1/catalog", http_method=READ, sync_to_thread=False)
    def list_kinds(request: ReadRequest) -> Response[bytes]:
        """The kinds of record, and how many of each are live."""
        return serve(request, catalog.overview)

    @route("/v1/catalog/{kind:str}", http_method=READ, sync_to_thread=False)
    def list_records(request: ReadRequest, kind: FromPath[str]) -> Response[bytes]:
        """All live records of a kind."""
        return serve(request, found(catalog.kinds, kind))

    @route("/v1/catalog/{kind:str}/{record:str}", http_method=READ, sync_to_thread=False)
    def get_record(
        request: ReadRequest, kind: FromPath[str], record: FromPath[str]
    ) -> Response[bytes]:
        """One live record."""
        if kind not in catalog.records:
            raise RefusalError("not-found")
        return serve(request, found(catalog.records[kind], record))

    return [list_kinds, list_records, get_record]
