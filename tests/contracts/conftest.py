"""The boards that must pass: each by a name, all through the same tests."""

from collections.abc import Iterator

import pytest
from board_rigs import RIGS, Rig
from board_session import BoardSession


@pytest.fixture(params=list(RIGS))
def rig(request: pytest.FixtureRequest) -> Iterator[Rig]:
    """A board that nobody has greeted yet."""
    built = RIGS[request.param]()
    yield built
    built.line.close()


@pytest.fixture
def board(rig: Rig) -> BoardSession:
    """A session that has begun."""
    session = BoardSession(rig.line)
    session.hello()
    session.listen(0.15)
    return session
