"""Bold, italic and list lines; nothing that a person writes becomes any other markup."""

import re
from html import unescape
from html.parser import HTMLParser

import pytest
from django.utils.html import escape
from hypothesis import given
from hypothesis import strategies as st

from studio.review import comments
from studio.review.comments import CommentText, formatted
from studio.review.returning import services
from tests.cast import as_person
from tests.review.heard_clip import heard_clip, review_of

ALLOWED = {"b", "i", "ul", "li"}


@pytest.mark.parametrize(
    ("written", "html"),
    [
        ("Listen to the **upper** note", "Listen to the <b>upper</b> note"),
        ("*softly* now", "<i>softly</i> now"),
        ("**very *soft* now**", "<b>very <i>soft</i> now</b>"),
        ("**a** and **b**", "<b>a</b> and <b>b</b>"),
        ("First:\n- one\n- **two**\nThen", "First:<ul><li>one</li><li><b>two</b></li></ul>Then"),
        ("2 * 3 * 4", "2 * 3 * 4"),
        ("** not **", "** not **"),
        ("a*b*c", "a*b*c"),
        ("**a *b** c*", "<b>a *b</b> c*"),
        ("*open\nline*", "*open\nline*"),
        ("-5 cents", "-5 cents"),
        ("two\r\nlines", "two\nlines"),
        ("<b>x</b> & “y”", "&lt;b&gt;x&lt;/b&gt; &amp; “y”"),
        ("*<script>*", "<i>&lt;script&gt;</i>"),
        ("", ""),
    ],
)
def test_what_is_written_is_shown_as(written, html):
    assert formatted(written) == html


class Reader(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.tags, self.text = [], [], ""

    def handle_starttag(self, tag, attrs):
        assert tag in ALLOWED, tag
        assert not attrs, attrs
        self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data

    def handle_comment(self, data):
        raise AssertionError(data)

    handle_decl = handle_pi = unknown_decl = handle_comment


TELLING = st.sampled_from(
    ["*", "**", "***", "- ", "\n", "\r", "<", ">", "&", "&lt;", '"', "'", "<b>", "</b>", "<script>",
     "<!--", "<a href='x'>", "javascript:", " ", "a", "word", "\x00", "]]>", "<?", "&#60;"]
)  # fmt: skip
ANY = st.text() | st.lists(TELLING | st.text(max_size=3), max_size=25).map("".join)


@given(ANY)
def test_only_its_own_marks_come_out_well_nested_and_without_attributes(written):
    reader = Reader()
    reader.feed(formatted(written))
    reader.close()
    assert not reader.open


@given(ANY)
def test_no_word_is_lost_or_added(written):
    shown = unescape(re.sub(r"</?(?:b|i|ul|li)>", "", formatted(written)))
    assert re.sub(r"[*\s-]", "", shown) == re.sub(r"[*\s-]", "", written)


@given(st.text(alphabet=st.characters(exclude_characters="*\r-")))
def test_a_text_without_marks_is_only_escaped(written):
    assert formatted(written) == escape(written)


def test_what_is_formatted_at_the_desk_comes_so_to_the_pupil(cast):
    clip = heard_clip(cast.enrolment)
    said = CommentText("bow", "**Slow**, *softly*:\n- one\n- <two>", 1.0)
    comments.add_comment(review_of(clip), cast.teacher, said)
    shown = "<b>Slow</b>, <i>softly</i>:<ul><li>one</li><li>&lt;two&gt;</li></ul>"
    desk, preview = (
        as_person(cast.teacher).get(f"/clips/{clip.pk}/{page}").content.decode()
        for page in ("", "preview/")
    )
    services.return_clip(review_of(clip), cast.teacher, "**Well** held.")
    home = as_person(cast.pupil).get(f"/clips/{clip.pk}/").content.decode()
    assert all(shown in page for page in (desk, preview, home))
    assert "<b>Well</b> held." in home
