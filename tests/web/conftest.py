"""One running application for the tests of this room."""

from collections.abc import Iterator
from typing import Any

import pytest
from litestar.testing import TestClient

from service.model.graph import Graph
from service.web.app import create_app


@pytest.fixture(scope="session")
def client(graph: Graph) -> Iterator[TestClient[Any]]:
    with TestClient(create_app(graph)) as running:
        yield running
