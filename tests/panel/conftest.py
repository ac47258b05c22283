"""What several tests of the page need."""

import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.panel.story import Story


@pytest.fixture
def free_port() -> Callable[[], int]:
    """Finds a port that nothing listens on."""

    def find() -> int:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            return int(probe.getsockname()[1])

    return find


@pytest.fixture
def story(tmp_path: Path) -> Story:
    """A desk on the twin in virtual time."""
    return Story(tmp_path)
