"""Slower keeps the pitch: what the desk's player lets sound is heard by our own engine."""

import base64
import io
import wave

import numpy as np
import pytest

from studio.intonation import Options, listen
from studio.theory import cents_between
from tests.browser.at_desk import (  # noqa: F401 (the first is asked for by name)
    folder,
    keep,
    opened,
)
from tests.cast import make_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SR = 48_000
HZ = (293.66, 440.49)
LENGTH_S = 8.0
SECONDS = 3.0  # recorded of what sounds
PITCH_CENTS = 3.0  # half the speed without keeping the pitch would be 1200
INTERVAL_CENTS = 0.5

# The samples that leave the player, as base64 of 32-bit floats, for some seconds of its clock.
RECORD = """async (seconds) => {
  const player = document.querySelector("clip-player video");
  const context = new AudioContext({ sampleRate: 48000 });
  const taken = [];
  const tap = context.createScriptProcessor(4096, 1, 1);
  tap.onaudioprocess = ({ inputBuffer }) => taken.push(inputBuffer.getChannelData(0).slice());
  context.createMediaElementSource(player).connect(tap).connect(context.destination);
  await context.resume();
  await player.play();
  await new Promise((resolve) => setTimeout(resolve, 1000 * seconds));
  player.pause();
  await context.close();
  const bytes = new Uint8Array(await new Blob(taken).arrayBuffer());
  let text = "";
  for (let at = 0; at < bytes.length; at += 8192) {
    text += String.fromCharCode(...bytes.subarray(at, at + 8192));
  }
  return btoa(text);
}"""


def fifth() -> np.ndarray:
    """Two bowed-like notes: partials that fall by 1/k, held for ``LENGTH_S``."""
    t = np.arange(int(LENGTH_S * SR)) / SR
    y = sum(np.sin(2 * np.pi * k * hz * t + k) / k for hz in HZ for k in range(1, 9))
    return 0.4 * y / np.max(np.abs(y))


def as_wav(y: np.ndarray) -> bytes:
    held = io.BytesIO()
    with wave.open(held, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(SR)
        out.writeframes((y * 32767).astype("<i2").tobytes())
    return held.getvalue()


@pytest.mark.parametrize("rate", [0.5, 0.25])
def test_slower_keeps_both_notes_where_they_are(cast, opened, rate):
    clip = make_clip(cast.enrolment, "A fifth", has_audio=True, duration_s=LENGTH_S)
    keep(clip, "playable", "audio/wav", ".wav", as_wav(fifth()))
    page = opened(cast.teacher, clip)
    now = "document.querySelector('clip-player video').playbackRate"
    for _ in range(10):
        if page.evaluate(now) > rate:
            page.keyboard.press("s")
    assert page.evaluate(now) == rate
    data = base64.b64decode(page.evaluate(RECORD, SECONDS))
    y = np.frombuffer(data, dtype=np.float32).astype(float)
    heard = max(listen(y, SR, Options()).events, key=lambda event: event.end_s - event.start_s)
    assert heard.end_s - heard.start_s > SECONDS / 2
    off = [cents_between(hz, v.f0_hz) for hz, v in zip(HZ, heard.voices, strict=True)]
    assert max(map(abs, off)) < PITCH_CENTS, off
    [interval] = heard.intervals
    assert abs(interval.size_cents - cents_between(*HZ)) < INTERVAL_CENTS
