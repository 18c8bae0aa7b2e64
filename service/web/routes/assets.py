"""`GET /assets/...`: the files that pages load, all of them ours to send and none from elsewhere.

What may be asked for is the list of files that were there at the start; a path is never looked up.
"""

from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from service.web.documents import Document, ReadRequest, of_content, serve
from service.web.problems import RefusalError
from service.web.routes.reading import READ, found
from service.web.shipped import assets, assets_version

MEDIA = {
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".txt": "text/plain",
}
FOR_GOOD = "public, max-age=31536000, immutable"
_ANY = {"serves": tuple(MEDIA.values())}


def asset_routes() -> list[HTTPRouteHandler]:
    """The handlers of a file by its name, and by version and name for good."""
    files = {name: of_content(body) for name, body in assets().items()}

    @route("/assets/{name:str}", http_method=READ, opt=_ANY, sync_to_thread=False)
    def get_asset(request: ReadRequest, name: FromPath[str]) -> Response[bytes]:
        """One file as it is now."""
        return _send(request, found(files, name), name)

    @route("/assets/{version:str}/{name:str}", http_method=READ, opt=_ANY, sync_to_thread=False)
    def get_asset_for_good(
        request: ReadRequest, version: FromPath[str], name: FromPath[str]
    ) -> Response[bytes]:
        """One file as it is in one version of all of them."""
        if version != assets_version():
            raise RefusalError("not-found")
        answer = _send(request, found(files, name), name)
        answer.headers["Cache-Control"] = FOR_GOOD
        return answer

    return [get_asset, get_asset_for_good]


def _send(request: ReadRequest, file: Document, name: str) -> Response[bytes]:
    suffix = name[name.rindex(".") :]
    return serve(request, file, MEDIA[suffix])
