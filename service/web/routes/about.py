"""`GET /v1/about` and `GET /openapi.json`: which versions answer, and by which contract."""

import msgspec
from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from service import __version__
from service.engine.plan import CONTRACT
from service.model.graph import Graph, Pack
from service.web.documents import ReadRequest, of_content, serve
from service.web.routes.reading import READ
from service.web.shipped import contract_file

NOTICE = (
    "A decision aid for people who train people. It diagnoses nothing and defers to licensed "
    "practice and local rules. Nothing in the pack is signed off by a clinician."
)


class About(Struct, frozen=True, kw_only=True):
    """The versions that answer, and what they are for."""

    service: str
    contract: str
    pack: Pack
    notice: str


def about_routes(graph: Graph) -> list[HTTPRouteHandler]:
    """The handlers of the versions and of the contract, byte for byte as committed."""
    about = About(service=__version__, contract=CONTRACT, pack=graph.pack, notice=NOTICE)
    versions = of_content(msgspec.json.encode(about))
    contract = of_content(contract_file().read_bytes())

    @route("/v1/about", http_method=READ, sync_to_thread=False)
    def get_about(request: ReadRequest) -> Response[bytes]:
        """The versions of service, contract and pack."""
        return serve(request, versions)

    @route("/openapi.json", http_method=READ, sync_to_thread=False)
    def get_contract(request: ReadRequest) -> Response[bytes]:
        """The published contract."""
        return serve(request, contract)

    return [get_about, get_contract]
