"""The pure modules of the pages, run where they run: in the browser."""

import json

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LIMITS = {"bytes": 1_000_000_000, "s": 900, "endings": [".mp4", ".mkv"]}
MOMENTS = [
    {"playFrom": 8.0, "start": 10.0, "until": 10.0},
    {"playFrom": 18.0, "start": 20.0, "until": 24.0},
    {"playFrom": 19.0, "start": 21.0, "until": 21.0},
]


@pytest.fixture(scope="module")
def call(chromium, live_server):
    """Call a function of a module with JSON arguments. One window for all: the modules are pure."""
    page = chromium.new_page()
    page.goto(f"{live_server.url}/static/pages/sizes.js")

    def call_it(module: str, function: str, *arguments):
        return page.evaluate(
            "([m, f, a]) => import(`/static/pages/${m}.js`).then((all) => all[f](...a))",
            [module, function, list(arguments)],
        )

    yield call_it
    page.close()


def test_a_file_is_refused_for_its_size_its_length_or_its_kind_alone(call):
    def why(name, size, duration_s, opens, kind="") -> str:
        file = {"name": name, "size": size, "type": kind}
        return call("sizes", "refusal", file, {"durationS": duration_s, "opens": opens}, LIMITS)

    assert why("a.mp4", 5_000_000, 60, True) == ""
    assert "empty" in why("a.mp4", 0, None, False)
    assert "at most 1000 MB" in why("a.mp4", 1_000_000_001, 60, True)
    assert why("a.mp4", 1_000_000_000, 900, True) == ""
    assert "lasts 15:01; at most 15:00" in why("a.mp4", 5_000_000, 901, True)
    assert "does not look like" in why("a.pdf", 5000, None, False)
    assert "does not look like" in why("mp4", 5000, None, False)


def test_what_only_the_browser_cannot_open_may_be_tried(call):
    def why(name, kind) -> str:
        file = {"name": name, "size": 5000, "type": kind}
        return call("sizes", "refusal", file, {"durationS": None, "opens": False}, LIMITS)

    assert why("CLIP.MKV", "") == ""
    assert why("clip.3gp", "video/3gpp") == ""


@pytest.mark.parametrize(
    ("t", "index"),
    [(0.0, -1), (8.5, 0), (10.0, 0), (11.4, 0), (12.0, -1), (20.5, 1), (21.0, 2), (23.0, 1)],
)
def test_the_moment_that_is_heard_is_the_last_begun_that_has_not_faded(call, t, index):
    assert call("moment-times", "momentAt", MOMENTS, t) == index


@pytest.mark.parametrize(
    ("t", "chosen", "step", "index"),
    [
        (0.0, -1, 1, 0),
        (15.0, -1, 1, 1),
        (15.0, -1, -1, 0),
        (0.0, -1, -1, 0),
        (30.0, -1, 1, 2),
        (9.0, 0, 1, 1),
        (9.0, 2, 1, 2),
        (9.0, 0, -1, 0),
    ],
)
def test_next_and_previous_go_from_what_was_chosen_else_from_the_time(call, t, chosen, step, index):
    assert call("moment-times", "neighbour", MOMENTS, t, chosen, step) == index


def test_a_reply_is_due_when_the_clip_plays_over_its_moment_and_not_after_a_jump(call):
    moments = [{"start": 0, "replies": True}, {"start": 4, "replies": False}]
    moments.append({"start": 4.1, "replies": True})

    def due(before: float, now: float) -> int:
        return call("reply-times", "replyDue", moments, before, now)

    assert [due(0, 0.25), due(3.9, 4.15), due(4.1, 4.3)] == [0, 2, 2]
    assert [due(0.25, 0.5), due(2, 4.2), due(4.15, 4.4), due(5, 3)] == [-1, -1, -1, -1]


def test_what_is_not_sent_yet_is_counted_by_person_and_said_by_what_it_is(call):
    acts = {"acts": [{"kind": "decide"}, {"kind": "undo"}], "refused": []}
    more = {"acts": [{"kind": "comment"}], "refused": []}
    store = {
        "desk-acts:7:one:a": json.dumps(acts),
        "desk-acts:7:two:b": json.dumps(more),
        "desk-acts:8:one:c": json.dumps(more),
        "desk-at:7:one": "{}",
    }
    found = call("unsent", "unsentOf", 7, store)
    assert [(one["clip"], one["kind"]) for one in found] == [
        ("one", "decide"),
        ("one", "undo"),
        ("two", "comment"),
    ]
    assert call("unsent", "unsentSaid", found) == "3 things from the desk are not sent yet"
    assert call("unsent", "unsentSaid", found[:2]) == "2 decisions are not sent yet"
    assert call("unsent", "unsentSaid", found[:1]) == "1 decision is not sent yet"


def test_practice_that_is_not_noted_yet_is_counted_by_person(call):
    store = {
        "studio:practice:7:k": json.dumps({"at": "/lessons/2/practice/", "place": "2"}),
        "studio:practice:7:timer-2": json.dumps({"at": "/lessons/2/practice/", "marks": [1]}),
        "studio:practice:8:k": json.dumps({"at": "/lessons/3/practice/", "place": "3"}),
        "studio:practice:7:torn": "{",
    }
    found = call("unsent", "unsentPractice", 7, store)
    assert found == [{"kind": "practice", "at": "/lessons/2/practice/"}] * 2
    assert call("unsent", "unsentSaid", found) == "2 entries of practice are not noted yet"
    assert call("unsent", "unsentSaid", found[:1]) == "practice on this device is not noted yet"
    assert call("../practice/kept-here", "timerOf", 7, "2", store) == [1]
    assert [one["key"] for one in call("../practice/kept-here", "entriesOf", 7, store)] == ["k"]


@pytest.mark.parametrize(
    ("marks", "now", "played", "unbroken", "since"),
    [  # in minutes; a rest lasts two at least
        ([], 9, 0, 0, 0),
        ([0], 12, 12, 12, 12),
        ([0, 10, 11], 15, 14, 14, 14),  # a pause of one ends no stretch, and is not counted
        ([0, 10, 12], 15, 13, 10, 3),
        ([0, 10], 11, 10, 10, 10),
        ([0, 10], 12, 10, 10, 0),  # rested
        ([0, 30, 60, 65], 90, 35, 30, 0),
        ([10], 4, 0, 0, 0),  # the clock was put back
    ],
)
def test_a_timer_counts_stretches_and_rests_by_the_wall_clock(
    call, marks, now, played, unbroken, since
):
    def asked(name: str, *more: int) -> float:
        ms = [mark * 60_000 for mark in marks]
        return call("../practice/stretches", name, ms, now * 60_000, *more) / 60_000

    assert asked("played") == played
    assert asked("unbroken", 2 * 60_000) == unbroken
    assert asked("sinceRest", 2 * 60_000) == since


@pytest.mark.parametrize(("s", "minutes"), [(0, 0), (1, 1), (89, 1), (90, 2), (2429, 40)])
def test_minutes_of_an_entry_are_the_nearest_and_something_is_never_nothing(call, s, minutes):
    assert call("../practice/stretches", "inMinutes", s * 1000) == minutes
