"""The visits of all tests that were chosen, begun together."""

from collections.abc import Iterator

import pytest

from closein.scenarios import VISITS
from closein.side_by_side import Visits, side_by_side


@pytest.fixture(scope="session")
def visits(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visits]:
    """Visits by the parameter `name` of the tests that ask for them."""
    wanted = {
        item.callspec.params["name"]
        for item in request.session.items
        if isinstance(item, pytest.Function) and "visits" in item.fixturenames
    }
    with side_by_side([name for name in VISITS if name in wanted], tmp_path_factory.mktemp("visits")) as begun:
        yield begun
