"""The sending page, and a recording that is long enough for a line to be cut."""

import wave
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import BrowserContext, Page, expect

MB = 1_000_000
WAIT_MS = 60_000


@pytest.fixture(scope="module")
def recording(tmp_path_factory) -> Path:
    """30 MB: noise, so that no two places in it are alike."""
    path = tmp_path_factory.mktemp("recording") / "noise.wav"
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, 44_100, 0, "NONE", ""))
        file.writeframes(np.random.default_rng(2).bytes(30 * MB))
    return path


def page_with(phone: BrowserContext, recording: Path) -> Page:
    """The sending page with the recording chosen."""
    page = phone.new_page()
    page.goto("/send/")
    page.set_input_files('input[type="file"]', recording)
    expect(page.locator('[data-part="details"]')).to_contain_text("MB")
    return page


def press_send(page: Page) -> None:
    page.locator('[data-part="send"]').click()


def words(page: Page):
    return page.locator('[data-part="words"]')


def amount(page: Page):
    return page.locator('[data-part="amount"]')


def refusal(page: Page):
    return page.locator('[data-part="refusal"]')
