"""What all tests share: the shipped pack, compiled once."""

import pytest

from service.model.graph import Graph
from tests.shipped import shipped_graph


@pytest.fixture(scope="session")
def graph() -> Graph:
    return shipped_graph()
