"""What stands under a staff is apart from its neighbours, measured in the browser's own boxes."""

import pytest

from studio.notation import Request, generate
from studio.notation.engraving import Figure, engrave

pytestmark = pytest.mark.browser

# Layouts with the width that they are shown at, in CSS pixels.
SHOWN_AT = {"phone": 358, "incipit": 700, "desk": 1300, "print": 720}
DRILLS = (
    Request(key="C major", interval="thirds", octaves=2, start=1),
    Request(key="A minor", interval="octaves", playings=3, start=1),
    Request(key="Eb major", interval="sixths", octaves=2, manner="together", start=1),
    Request(key="B minor", interval="unisons", instrument="viola", manner="together", start=1),
)
OVERLAPS = """() => {
  const boxes = (query) => [...document.querySelectorAll(query)].map((it) => {
    const { left, right, top, bottom } = it.getBoundingClientRect();
    return { left, right, top, bottom, says: it.textContent.trim() };
  });
  const [words, figures] = [boxes(".dir text"), boxes(".lyric text, .verse text, .lift")];
  const meet = (a, b) =>
    a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
  const found = words.flatMap((word) =>
    figures.filter((figure) => meet(word, figure)).map((figure) => `${word.says}: ${figure.says}`));
  return [words.length, figures.length, found];
}"""


@pytest.mark.parametrize("layout", SHOWN_AT)
def test_heard_figures_are_clear_of_the_words_of_positions(chromium, layout):
    page = chromium.new_page(viewport={"width": SHOWN_AT[layout], "height": 800})
    for request in DRILLS:
        score = generate(request)
        # As wide as a figure is, its lift as high as it goes.
        figures = {item.id: Figure(40.0, "+40 ± 12 (+4)") for item in score.written}
        page.set_content("".join(engrave(score, layout=layout, figures=figures)))
        words, drawn, found = page.evaluate(OVERLAPS)
        assert words > 5
        assert drawn >= 2 * len(figures)
        assert found == []
    page.close()
