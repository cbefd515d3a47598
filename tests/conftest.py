"""What every test relies on: no test reaches this machine's own data folder."""

import os
from pathlib import Path

import pytest
from django.conf import settings

pytest_plugins = ["tests.cast"]


@pytest.fixture
def data_folder() -> Path:
    """The data folder of this test run; processes that a test starts inherit it."""
    assert os.environ["STUDIO_DATA"] == str(settings.STUDIO_DATA)
    return settings.STUDIO_DATA
