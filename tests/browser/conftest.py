"""One service and one browser for all tests of pages, and a page that keeps account of itself.

A `Visit` writes down each request, each breach of the policy and each fault of a script, and can
be asked what the browser has stored; what a test does not ask for is asked when it ends.
"""

import shutil
from collections.abc import Callable, Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from tests.contract.running import service

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 20_000
"""How long a page may take before a test gives up; nothing passes or fails by being quick."""
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
_BREACHES = """
    window.__breaches = [];
    document.addEventListener("securitypolicyviolation",
        (event) => window.__breaches.push(event.violatedDirective + " " + event.blockedURI));
"""
_STORED = """async () => ({
    local: localStorage.length,
    session: sessionStorage.length,
    databases: (await indexedDB.databases()).length,
    caches: (await caches.keys()).length,
    workers: (await navigator.serviceWorker.getRegistrations()).length,
})"""


class Visit:
    """One page in a context of its own, watched."""

    def __init__(self, context: BrowserContext, site: str, *, scripts: bool) -> None:
        self.context = context
        self.site = site
        self.scripts = scripts
        self.requests: list[str] = []
        self.faults: list[str] = []
        context.on("request", lambda request: self.requests.append(request.url))
        if scripts:
            context.add_init_script(_BREACHES)
        self.page: Page = context.new_page()
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("console", self._heard)

    def _heard(self, message: Any) -> None:
        if message.type == "error":
            self.faults.append(message.text)

    def open(self, path: str) -> Page:
        """The page at a path of the service."""
        answer = self.page.goto(self.site + path)
        assert answer is not None and answer.status == 200, path
        return self.page

    def elsewhere(self) -> list[str]:
        """Requests that left the service."""
        return [url for url in self.requests if not url.startswith((self.site, "data:", "blob:"))]

    def breaches(self) -> list[str]:
        """What the page tried against its policy."""
        found: list[str] = self.page.evaluate("window.__breaches") if self.scripts else []
        return found

    def stored(self) -> dict[str, int]:
        """How much the browser keeps of the visit, by kind of storage."""
        kept: dict[str, int] = self.page.evaluate(_STORED)
        kept["cookies"] = len(self.context.cookies())
        return kept

    def accessible(self) -> None:
        """Nothing, or a failure that names what axe-core finds wrong on the page as it stands."""
        found = Axe().run(self.page, options={"runOnly": AXE_TAGS})
        assert found.violations_count == 0, found.generate_report()

    def finish(self) -> None:
        """Nothing, or a failure where the visit left a trace or reached beyond the service."""
        assert self.elsewhere() == []
        assert self.faults == []
        assert self.breaches() == []
        if self.scripts and self.page.url.startswith(self.site):
            assert not any(self.stored().values()), self.stored()


Visitor = Callable[..., Visit]
expect.set_options(timeout=PATIENCE_MS)


class _Framing(SimpleHTTPRequestHandler):
    """Sends a page that frames whatever the query names."""

    def do_GET(self) -> None:
        framed = self.path.partition("?")[2]
        body = f'<!doctype html><iframe title="framed" width=900 height=700 src="{framed}">'
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(body.encode())

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture(scope="package")
def framing_port() -> Iterator[int]:
    """Port of another site; `localhost` may frame the service, `127.0.0.1` may not."""
    with ThreadingHTTPServer(("127.0.0.1", 0), _Framing) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_port
        server.shutdown()


@pytest.fixture(scope="package")
def site(tmp_path_factory: pytest.TempPathFactory, framing_port: int) -> Iterator[str]:
    """The address of one running service."""
    allowed = {"ALLOW_FRAMES": f"http://localhost:{framing_port}"}
    with service(tmp_path_factory.mktemp("site"), allowed) as running:
        yield running.url


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """One headless browser, gone with its event loop before the tests of other rooms begin."""
    if CHROMIUM is None:
        pytest.skip("chromium is not installed: apt-get install chromium")
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, headless=True, args=FLAGS)
        yield started
        started.close()


@pytest.fixture
def visitor(browser: Browser, site: str) -> Iterator[Visitor]:
    """Makes visits: `visitor(dark=True, width=320, scripts=False, touch=True)`."""
    made: list[Visit] = []

    def make(
        *,
        width: int = 1024,
        height: int = 800,
        dark: bool = False,
        scripts: bool = True,
        **more: Any,
    ) -> Visit:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme="dark" if dark else "light",
            java_script_enabled=scripts,
            locale=more.pop("locale", "en-GB"),
            **more,
        )
        context.set_default_timeout(PATIENCE_MS)
        made.append(Visit(context, site, scripts=scripts))
        return made[-1]

    yield make
    for visit in made:
        visit.context.close()


def keep(page: Page, folder: Path | None, name: str) -> None:
    """A picture of the whole page, where a folder for them was named."""
    size = page.viewport_size
    if folder is not None and size is not None:
        # a window as high as the page, so that what sticks to its edge covers nothing
        height: int = page.evaluate("document.documentElement.scrollHeight")
        page.set_viewport_size({"width": size["width"], "height": max(height, size["height"])})
        page.screenshot(path=folder / f"{name}.png")
        page.set_viewport_size(size)
