"""What the desk calls things: notes everywhere, hertz nowhere but in how the clip was measured."""

import pytest
from playwright.sync_api import expect

from studio.review.marks.hand_marks import HandMarkText, add
from tests.browser.at_desk import (  # noqa: F401 (the first three are fixtures)
    LENGTH_S,
    clip,
    comes_true,
    folder,
    opened,
    said,
)
from tests.review.heard_clip import review_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LETTERS = """() => {
  window.letters = [];
  const { fillText } = CanvasRenderingContext2D.prototype;
  CanvasRenderingContext2D.prototype.fillText = function (text, ...place) {
    window.letters.push(text);
    return fillText.call(this, text, ...place);
  };
}"""
LABELS = """() => {
  const all = [...document.querySelectorAll("clip-desk, clip-desk *")];
  const words = ({ childNodes }) => [...childNodes].filter(({ nodeType }) => nodeType === 3);
  const shown = all.filter((each) => !each.closest("#facts")).flatMap(words);
  return [...all.flatMap((each) => [each.title, each.ariaLabel]), ...shown.map(({ data }) => data)];
}"""


def test_picture_target_and_marks_are_named_by_their_notes(cast, clip, opened):
    made = add(review_of(clip), cast.teacher, HandMarkText("Lighter", 8.6, 9.4), "")
    add(review_of(clip), cast.teacher, HandMarkText("The end", 12.9, 13.2), "")
    page = opened(cast.teacher, clip)
    page.evaluate(LETTERS)
    picture = page.locator("sound-picture").bounding_box()
    y = picture["y"] + picture["height"] / 2
    page.mouse.move(picture["x"] + picture["width"] * 4.8 / LENGTH_S, y)
    comes_true(page, "window.letters.includes('octave B♭3–B♭4')")
    page.mouse.move(picture["x"] + picture["width"] * 10.5 / LENGTH_S, y)
    comes_true(page, "window.letters.includes('octave C4–C5')")
    page.locator(".block", has_text="B♭3–B♭4").locator("[data-row]").first.focus()
    page.keyboard.press("h")
    expect(said(page)).to_have_text("The target: octave B♭3–B♭4.")
    mark = page.locator(f"#hand-{made.pk}")
    expect(mark).to_contain_text("By hand, Ottilie Brandt: octave C4–C5")
    expect(mark).to_have_attribute("aria-label", "Mark by hand at 0:08.6, octave C4–C5")
    late = page.locator("article.by-hand", has_text="The end")
    expect(late).to_have_attribute("aria-label", "Mark by hand at 0:12.9")
    expect(page.locator("#mark-0")).to_have_attribute(
        "aria-label", "Mark at 0:04.2, octave B♭3–B♭4"
    )
    labels = [text for text in page.evaluate(LABELS) if text]
    assert labels
    assert not [text for text in labels if "hz" in text.lower() or "hertz" in text.lower()]
    assert not [text for text in labels if "**" in text]
