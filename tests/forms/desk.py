"""The forms of the review desk. Most are sent by its script, which answers in the status line."""

import json

from playwright.sync_api import Page

from studio.review import comments
from studio.review.comments import CommentText
from studio.review.returning import services

from .drills import PAST, SETTING
from .form import SAID, Form, logged_out
from .rows import Rows

NO_CLIP_TIME = "9:59.0"  # after the end
REPLY = "sample_media/clips/short-octaves.mp4"


def _desk(seen: str, **more) -> Form:
    """A form of the desk, refused because the log-in has run out unless something else is said."""
    refusal: dict = {"status": 422} if "bad" in more else {"meanwhile": logged_out, "status": 302}
    return Form(who="teacher", at="clip_page", seen=seen, **refusal | {"wrong": SAID} | more)


def _said_more(rows: Rows) -> None:
    said = CommentText("bow", "One more thing", 8.0)
    comments.add_comment(rows.review, rows.cast.colleague, said)


def _summed_up(rows: Rows) -> None:
    services.save_summary(rows.review, "What the colleague wrote", "")


def _all_kept(page: Page) -> None:
    page.locator("#kinds form [value=kept]").first.click()
    page.locator("#undo-kind").wait_for()


def _something_written(page: Page) -> None:
    """So that the proposal stands beside it."""
    page.locator("#summary textarea").fill("Steadier.")


def _press_keys(page: Page) -> None:
    """Give “play” another key, by the dialog of keys."""
    page.locator("[data-act=help]").click()
    page.locator("key-help [data-change=loop]").click()
    page.keyboard.press("8")


def _clashing_keys(page: Page) -> None:
    """What the dialog itself does not let happen, sent by a script of an old page."""
    page.evaluate(
        """async (keys) => {
          const help = document.querySelector("key-help");
          const body = new FormData();
          body.set("keys", keys);
          body.set("csrfmiddlewaretoken", help.querySelector("[name=csrfmiddlewaretoken]").value);
          const answer = await fetch(help.dataset.keep, { method: "POST", body });
          document.querySelector("#said").textContent = (await answer.json()).said;
        }""",
        json.dumps({"no-such-act": "y"}),
    )


FORMS = {
    "desk_keys": [
        _desk(
            "key-help kbd:text-is('8')",
            which="key-help",
            by_script=_press_keys,
            bad_by_script=_clashing_keys,
            meanwhile=None,
            status=422,
        )
    ],
    "desk_decide": [
        _desk("button[id^=keep-][aria-pressed=true]", which=".decision"),
        _desk(
            "article:has-text('Higher, and wait')",
            which=".field",
            good={"words": "Higher, and wait", "start_s": "0:05.0", "end_s": "0:05.5"},
            bad={"end_s": NO_CLIP_TIME},
        ),
        _desk(
            "article:has-text('Higher, and wait')",
            which=".field",
            good={"words": "Higher, and wait", "start_s": "0:05.0", "end_s": "0:05.5"},
            bad={"start_s": "soon"},
        ),
    ],
    "desk_settle_old": [_desk(SAID)],
    "desk_decide_kind": [_desk("#undo-kind")],
    "desk_undo": [_desk(SAID, before=_all_kept)],
    "desk_tolerance": [
        _desk(
            "#said:has-text('mark')",
            good={"perfect": "9", "other": "12"},
            bad={"perfect": "0"},
        )
    ],
    "desk_bar_pin": [
        _desk(
            "#pins li:has-text('0:04.0 is bar 2')",
            good={"start_s": "0:04", "end_s": "0:05.2", "bar": "2"},
            bad={"start_s": "0:30", "end_s": "0:31"},
        )
    ],
    "desk_bar_pin_take_away": [_desk(SAID)],
    "desk_mark_add": [
        _desk(
            "article.by-hand:has-text('Late again')",
            good={"words": "Late again", "start_s": "0:09", "end_s": "0:10"},
            bad={"end_s": NO_CLIP_TIME},
        )
    ],
    "desk_mark_edit": [
        _desk(
            "article.by-hand:has-text('Early')",
            good={"words": "Early", "start_s": "0:01", "end_s": "0:02.5"},
            bad={"start_s": "soon"},
        )
    ],
    "desk_mark_delete": [_desk(SAID)],
    "desk_comment_add": [
        _desk(
            "li.comment:has-text('Wait for it')",
            good={"text": "Wait for it", "start_s": "0:07", "kind": "bow"},
            bad={"start_s": "later"},
        )
    ],
    "desk_comment_edit": [
        _desk(
            "li.comment:has-text('A little less')",
            good={"text": "A little less", "start_s": "0:02"},
            bad={"start_s": NO_CLIP_TIME},
        )
    ],
    "desk_comment_delete": [_desk(SAID)],
    "desk_enclosure_add": [
        _desk(
            "li.comment audio, li.comment [data-waits]",
            good={"recording": REPLY},
            bad={"recording": ""},
        )
    ],
    "desk_enclosure_remove": [_desk(SAID)],
    "desk_draw_again": [
        _desk(
            "li.comment :text-is('The elbow')",
            good={"drawing_words": "The elbow"},
            bad={"drawing_words": " "},
        )
    ],
    "desk_set_drill": [
        _desk(
            "#drills li:has-text('Octaves, slowly')",
            good={"drill": "Octaves, slowly", **SETTING},
            bad={"due_on": PAST},
        )
    ],
    "desk_new_drill": [
        _desk(
            "#drills li:has-text('Sixths, slowly')",
            good={"title": "Sixths, slowly", "words": "Hold each."},
            bad={"words": " "},
        )
    ],
    "desk_unset_drill": [_desk(SAID)],
    "desk_from_here": [
        Form(
            who="teacher",
            at="desk_from_here?mark=0",
            good=SETTING,
            bad={"due_on": PAST},
            seen="#drills li:has-text('Still at the end')",
        )
    ],
    "desk_summary": [
        Form(
            who="teacher",
            at="clip_page",
            good={"summary": "Steadier, and **wider**."},
            meanwhile=_summed_up,
            status=409,
            seen=".summary:has-text('Steadier')",
        )
    ],
    "desk_propose": [
        _desk("#proposal [data-proposed]", button="button[form=propose]", before=_something_written)
    ],
    "desk_return": [
        Form(
            who="teacher",
            at="desk_preview",
            meanwhile=_said_more,
            status=409,
            seen=".pending-many summary:has-text('2 returned clips')",
        )
    ],
}
