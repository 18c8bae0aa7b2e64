"""`GET /v1/examples...`: ready screens to send to `/v1/plan` as they are."""

import msgspec
from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath
from msgspec import Struct

from service.web.documents import ReadRequest, of_content, serve
from service.web.routes.reading import READ, found
from service.web.shipped import examples


class Example(Struct, frozen=True, kw_only=True):
    """The name of an example screen, and where it is."""

    name: str
    href: str


class ExampleList(Struct, frozen=True, kw_only=True):
    """Every example screen, by name."""

    items: tuple[Example, ...]


def example_routes() -> list[HTTPRouteHandler]:
    """The handlers of the list and of one screen, byte for byte as shipped."""
    documents = {name: of_content(body) for name, body in examples().items()}
    items = tuple(Example(name=name, href=f"/v1/examples/{name}") for name in documents)
    listed = of_content(msgspec.json.encode(ExampleList(items=items)))

    @route("/v1/examples", http_method=READ, sync_to_thread=False)
    def list_examples(request: ReadRequest) -> Response[bytes]:
        """The names of the example screens."""
        return serve(request, listed)

    @route("/v1/examples/{name:str}", http_method=READ, sync_to_thread=False)
    def get_example(request: ReadRequest, name: FromPath[str]) -> Response[bytes]:
        """One example screen."""
        return serve(request, found(documents, name))

    return [list_examples, get_example]
