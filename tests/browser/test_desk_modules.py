"""The pure modules of the desk (time, geometry, lift, keys, outline), run in the browser."""

import base64

import pytest

from studio.review.web.shared.keys import at_first
from tests.browser import modules

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

call = modules.call  # the fixture

VIEW = {"from": 10.0, "to": 20.0, "width": 500, "duration": 60.0}


# -- time ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [24.0, 25.0, 30000 / 1001, 30.0, 60000 / 1001])
def test_frame_steps_visit_every_frame_once_and_never_an_edge(call, rate):
    at, visited = 0.0, []
    for _ in range(40):
        at = call("timecode", "stepped", at, 1, rate, 10.0)
        visited.append(call("timecode", "frameAt", at, rate))
    assert visited == list(range(1, 41))
    assert call("timecode", "frameAt", call("timecode", "stepped", at, -1, rate, 10.0), rate) == 39


def test_frame_steps_stay_inside_the_clip(call):
    assert call("timecode", "stepped", 0.01, -1, 25.0, 2.0) == pytest.approx(0.02)
    assert call("timecode", "stepped", 1.99, 1, 25.0, 2.0) == pytest.approx(1.98)


# -- geometry ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("seconds", "x"), [(10.0, 0), (15.0, 250), (20.0, 500), (9.0, -50)])
def test_time_and_pixels_are_each_others_inverse(call, seconds, x):
    assert call("geometry", "xOf", VIEW, seconds) == pytest.approx(x)
    assert call("geometry", "secondsAt", VIEW, x) == pytest.approx(seconds)


def test_zooming_keeps_the_anchor_in_its_place(call):
    nearer = call("geometry", "zoomed", VIEW, 2, 12.0)
    assert nearer["to"] - nearer["from"] == pytest.approx(5.0)
    assert call("geometry", "xOf", nearer, 12.0) == pytest.approx(100)


def test_zooming_ends_at_20_ms_and_at_the_whole_clip(call):
    nearest = call("geometry", "zoomed", VIEW, 1e6, 15.0)
    farthest = call("geometry", "zoomed", VIEW, 1e-6, 15.0)
    assert nearest["to"] - nearest["from"] == pytest.approx(0.02)
    assert (farthest["from"], farthest["to"]) == (0.0, 60.0)


@pytest.mark.parametrize(("by", "start"), [(5, 15), (-30, 0), (100, 50)])
def test_scrolling_stops_at_the_ends(call, by, start):
    moved = call("geometry", "panned", VIEW, by)
    assert moved["from"] == pytest.approx(start)
    assert moved["to"] - moved["from"] == pytest.approx(10)


def test_the_view_turns_the_page_when_the_play_head_nears_its_end(call):
    assert call("geometry", "following", VIEW, 15.0) == VIEW
    turned = call("geometry", "following", VIEW, 19.5)
    assert turned["from"] < 19.5 < turned["to"]
    assert turned["from"] > VIEW["from"] + 5
    last = VIEW | {"from": 50.0, "to": 60.0}
    assert call("geometry", "following", last, 59.9) == last


@pytest.mark.parametrize("length", [0.02, 0.3, 1.0, 7.0, 45.0, 200.0, 900.0])
@pytest.mark.parametrize("width", [240, 700, 1600])
def test_ticks_are_round_and_leave_room_for_their_words(call, length, width):
    view = {"from": 3.3, "to": 3.3 + length, "width": width, "duration": 2000.0}
    ticks = call("geometry", "ticks", view)
    assert ticks["step"] * width / length >= 71.9
    assert len(ticks["at"]) <= width / 71 + 1
    assert all(view["from"] - 1e-6 <= at <= view["to"] + 1e-6 for at in ticks["at"])
    read = [call("../figures", "place", at, ticks["digits"]) for at in ticks["at"]]
    assert len(set(read)) == len(read), "each tick reads differently"


def test_the_first_event_in_view_is_found_among_long_and_short_ones(call):
    events = [{"start_s": float(n), "end_s": n + (30.0 if n == 2 else 0.5)} for n in range(100)]
    assert call("geometry", "firstAfter", events, 20.0, 30.0) == 2
    assert call("geometry", "firstAfter", events, 40.2, 30.0) == 40
    assert call("geometry", "firstAfter", events, 200.0, 30.0) == 100


# -- lift ----------------------------------------------------------------------------------------


@pytest.fixture
def scale(call):
    return call("lift", "pitchScale", [{"voices": [{"midi": 58}, {"midi": 70}]}], 40, 240)


def test_higher_notes_and_sharper_lifts_are_drawn_higher(call, scale):
    assert call("lift", "yOfMidi", scale, 70) < call("lift", "yOfMidi", scale, 58)
    ys = [call("lift", "yOfLift", scale, 70, cents) for cents in (-30, 0, 30)]
    assert ys == sorted(ys, reverse=True)
    assert ys[1] == call("lift", "yOfMidi", scale, 70)


def test_a_lift_beyond_the_limit_stays_at_the_edge(call, scale):
    limit = call("lift", "yOfLift", scale, 70, 60)
    assert call("lift", "yOfLift", scale, 70, 400) == limit


def test_in_tune_lies_between_the_hairlines(call, scale):
    top, bottom = call("lift", "band", scale, 70, 15)
    assert top < call("lift", "yOfLift", scale, 70, 14.9) < bottom
    assert call("lift", "yOfLift", scale, 70, 16) < top


def test_a_voice_without_a_track_is_a_flat_line(call):
    voice = {"start_s": 1.0, "end_s": 3.0, "lift_cents": 18.0, "track": None}
    assert call("lift", "line", voice, 0, 10, 0.01) == [[1.0, 18.0], [3.0, 18.0]]


def test_a_track_is_drawn_where_it_is_in_view_and_broken_where_it_is_unknown(call):
    cents = [0, 2, None, 4, *[5] * 100]
    voice = {"lift_cents": 10, "track": {"start_s": 1.0, "step_s": 0.02, "cents": cents}}
    points = call("lift", "line", voice, 0.9, 1.07, 0.001)
    assert points[:4] == [[1.0, 10], [pytest.approx(1.02), 12], None, [pytest.approx(1.06), 14]]
    assert len(points) < 10
    assert len(call("lift", "line", voice, 0, 10, 0.2)) < 14, "one point for ten steps"


# -- keys ----------------------------------------------------------------------------------------


def press(key: str, **held) -> dict:
    return {"key": key, "shiftKey": False, "ctrlKey": False, "altKey": False, "metaKey": False} | {
        f"{name}Key": True for name in held
    }


@pytest.mark.parametrize(
    ("event", "act"),
    [
        (press(" "), "play"),
        (press("n"), "next-mark"),
        (press("K"), "keep"),
        (press("ArrowLeft", shift=1), "back-5"),
        (press("ArrowLeft"), "back-1"),
        (press("?", shift=1), "help"),
        (press("+", shift=1), "zoom-in"),
        (press("C", shift=1), "comment-span"),
        (press("c", ctrl=1), None),
        (press("r", meta=1), None),
        (press("x"), "span-start"),
        (press("X", shift=1), "span-end"),
        (press("9"), None),
    ],
)
def test_keys_lead_to_actions_and_leave_the_browsers_own_alone(call, event, act):
    assert call("keys", "actOf", call("keys", "nameOf", event)) == act


PRESSED = {
    "use-span",
    "use-proposal",
    "playings",
    "hear-both",
}  # where a button stands, and nowhere else


def test_no_key_has_two_meanings(chromium, live_server):
    page = chromium.new_page()
    page.goto(f"{live_server.url}/log-in/")
    table = page.evaluate("import('/static/desk/keys.js').then(({ KEYS }) => KEYS)")
    acts = page.evaluate("import('/static/desk/acts.js').then(({ ACTS }) => Object.keys(ACTS))")
    page.close()
    for page_name in (None, "compare", "together", "batch"):
        rows = [row for row in table if row.get("page") in (page_name, "both")]
        names = [name for row in rows for name in row["keys"]]
        assert len(names) == len(set(names))
    here = {row["act"] for row in table if row.get("page") in (None, "both")}
    assert here == set(acts) - PRESSED
    assert all(row["words"] for row in table)


@pytest.mark.parametrize(
    ("name", "focus", "left"),
    [
        ("k", {"tag": "TEXTAREA"}, True),
        ("k", {"tag": "INPUT", "type": "text"}, True),
        ("k", {"tag": "SELECT"}, True),
        ("k", {"tag": "DIV", "editable": True}, True),
        ("k", {"tag": "BUTTON"}, False),
        ("Space", {"tag": "BUTTON"}, True),
        ("Space", {"tag": "BODY"}, False),
    ],
)
def test_a_key_is_never_taken_from_what_has_the_focus(call, name, focus, left):
    assert call("keys", "belongsTo", name, focus) is left


# -- the outline of the sound --------------------------------------------------------------------


def level(rate: float, pairs: list[tuple[int, int]]) -> dict:
    data = bytes(value & 0xFF for pair in pairs for value in pair)
    return {"per_second": rate, "count": len(pairs), "data": base64.b64encode(data).decode()}


def test_the_outline_is_read_in_the_level_that_fits(chromium, live_server):
    stored = {"levels": [level(25, [(-9, 9)] * 50), level(100, [(-127, 127), *[(-2, 3)] * 199])]}
    page = chromium.new_page()
    page.goto(f"{live_server.url}/log-in/")
    found = page.evaluate(
        """async (stored) => {
          const { decode, levelFor, between, loudest } = await import("/static/desk/peaks.js");
          const levels = decode(stored);
          return {
            fine: levelFor(levels, 60).perSecond, coarse: levelFor(levels, 10).perSecond,
            finest: levelFor(levels, 5000).perSecond, first: between(levels[0], 0, 0.01),
            quiet: between(levels[0], 0.5, 0.9), after: between(levels[0], 5, 6),
            most: loudest(levels), broken: decode({ version: 9 }),
          };
        }""",
        stored,
    )
    page.close()
    assert (found["fine"], found["coarse"], found["finest"]) == (100, 25, 100)
    assert found["first"] == [-1, 1]
    assert found["quiet"] == [pytest.approx(-2 / 127), pytest.approx(3 / 127)]
    assert found["after"] is None
    assert found["most"] == pytest.approx(9 / 127)
    assert found["broken"] is None


# -- the picture's documents ---------------------------------------------------------------------

COLUMNS = {
    "ids": [0, 2, -1],
    "starts": [1000, 500, 500],
    "lengths": [400, 900, 700],
    "kinds": "sdd",
    "verdicts": "-ou",
    "tolerances": [None, 15, 18],
    "names": ["G3", "octave G3–G4"],
    "named": [0, 1, 1],
    "voices": [1, 2, 2],
    "midis": [55, 55, 67, 57, 69],
    "lifts": [0, 0, 184, -31, 0],
    "offsets": [0, 0, 0, 0, 80, -20, 0, 0, 0, 0],
}


def test_columns_become_events_again(call):
    first, second, third = call("picture-data", "eventsOf", COLUMNS)
    assert [event["id"] for event in (first, second, third)] == [0, 2, 1]
    assert (first["kind"], first["verdict"], first["name"]) == ("single", None, "G3")
    assert (second["start_s"], second["end_s"], second["tolerance_cents"]) == (1.5, 2.4, 15)
    assert (second["verdict"], third["verdict"]) == ("out", "unsure")
    upper = second["voices"][1]
    assert (upper["midi"], upper["lift_cents"]) == (67, 18.4)
    assert (upper["start_s"], upper["end_s"]) == (1.58, 2.38)
    assert third["voices"][0]["lift_cents"] == -3.1


def test_the_tracks_of_a_part_reach_their_voices(chromium, live_server):
    held = [0, 1, -128, -1, 127, -127]  # the second voice's begin at 127
    steps = bytes((b - a) % 256 for a, b in zip([0, *held], held, strict=False))
    part = {
        "tracks": [[0, 0, 1000, 50, 4], [2, 1, 1580, 50, 2], [99, 0, 0, 50, 0]],
        "cents": base64.b64encode(steps).decode(),
    }
    page = chromium.new_page()
    page.goto(f"{live_server.url}/log-in/")
    first, second = page.evaluate(
        """async ([columns, part]) => {
          const { eventsOf, addTracks } = await import("/static/desk/picture-data.js");
          const events = eventsOf(columns);
          addTracks(new Map(events.map((event) => [event.id, event])), part);
          return events.slice(0, 2).map(({ voices }) => voices.at(-1).track);
        }""",
        [COLUMNS, part],
    )
    page.close()
    assert first == {"start_s": 1, "step_s": 0.05, "cents": [0, 1, None, -1]}
    assert second == {"start_s": 1.58, "step_s": 0.05, "cents": [127, -127]}


@pytest.mark.parametrize(
    ("start", "end", "parts"),
    [
        (0, 900, []),  # the whole clip: a step of a track would be far below a pixel
        (60, 70, [0, 1]),  # an event of the part before may reach into this one
        (100, 115, [1, 2]),  # and what comes next, when the clip plays on
        (890, 900, [14]),
    ],
)
def test_detail_is_asked_for_where_it_can_be_seen(call, start, end, parts):
    view = {"from": start, "to": end, "width": 700, "duration": 900}
    assert call("picture-data", "partsIn", view, 60, 5) == parts


def test_a_piece_of_the_outline_begins_where_it_says(chromium, live_server):
    piece = level(100, [(-64, 64)] * 10) | {"first": 6000}
    page = chromium.new_page()
    page.goto(f"{live_server.url}/log-in/")
    inside, before = page.evaluate(
        """async (stored) => {
          const { decodePiece, between } = await import("/static/desk/peaks.js");
          const piece = decodePiece(stored);
          return [between(piece, 60.02, 60.03), between(piece, 60.2, 60.3)];
        }""",
        piece,
    )
    page.close()
    assert inside == [pytest.approx(-64 / 127), pytest.approx(64 / 127)]
    assert before is None


def test_the_recorder_says_what_to_do_when_it_cannot_record(call):
    denied = call("reply-words", "whyNot", "NotAllowedError", "voice")
    assert denied.startswith("The browser was not allowed to use the microphone. Allow it")
    for name in ("NotAllowedError", "NotFoundError", "NotReadableError", "NotSupportedError"):
        sentence = call("reply-words", "whyNot", name, "video")
        assert "choose" in sentence
        assert "file" in sentence
    assert call("reply-words", "running", 59.99, 180) == "0:59 of 3:00"


def test_strokes_are_thinned_kept_inside_and_a_mere_press_is_none(call):
    wobble = [[0.1 + n / 1000, 0.2 + (n % 2) / 1000] for n in range(300)]
    line = call("strokes", "strokeOf", "line", wobble)
    assert (line["kind"], len(line["points"])) == ("line", 2)
    corner = call("strokes", "strokeOf", "line", [[0.1, 0.1], [0.3, 0.1], [0.3, 0.3]])
    assert corner["points"] == [[0.1, 0.1], [0.3, 0.1], [0.3, 0.3]]
    loop = [[0.1, 0.1], [0.3, 0.1], [0.3, 0.3], [0.1, 0.1]]
    assert len(call("strokes", "strokeOf", "line", loop)["points"]) == 4
    for kind in ("line", "arrow", "circle"):
        assert call("strokes", "strokeOf", kind, [[0.5, 0.5], [0.505, 0.5]]) is None
    assert call("strokes", "inside", [-0.1, 0.9], 0.5) == [0, 0.5]
    assert call("strokes", "moved", [0.99, 0.25], "ArrowRight", False, 0.5) == [1, 0.25]
    assert call("strokes", "placeOf", [0.4, 0.125], 0.5) == "40 % across, 25 % down"
    assert call("strokes", "labelAt", [0.1, 0.1], "  ") is None


# -- keys that are changed -----------------------------------------------------------------------


def test_the_server_reads_the_table_of_keys_as_the_page_does(call, chromium, live_server):
    page = chromium.new_page()
    page.goto(f"{live_server.url}/log-in/")
    table = page.evaluate("import('/static/desk/keys.js').then(({ KEYS }) => KEYS)")
    page.close()
    read = {
        row["act"]: (row["keys"], row.get("fixed", False), row.get("page", "")) for row in table
    }
    assert read == at_first()
    assert all(
        call("keys", "canBeGiven", k) for keys, fixed, _ in read.values() if not fixed for k in keys
    )


def test_a_key_is_given_swapped_and_given_back(call):
    changed = call("keys", "given", {}, "keep", "x")
    assert changed == {"keep": "x"}
    assert call("keys", "given", changed, "keep", "k") == {}
    swapped = call("keys", "given", {}, "keep", "d", "drop")
    assert swapped == {"keep": "d", "drop": "k"}
    assert call("keys", "asItWas", swapped, "keep")["holder"]["act"] == "drop"
    assert call("keys", "asItWas", changed, "keep") == {"changed": {}, "holder": None}
    table = call("keys", "inForce", {})
    assert call("keys", "holderOf", "d", "keep", table)["act"] == "drop"
    assert call("keys", "holderOf", "d", "switch", table) is None  # on a page of its own
    assert call("keys", "holderOf", "Space", "switch", table)["act"] == "play"
    table = {row["act"]: row["keys"] for row in call("keys", "inForce", swapped)}
    assert (table["keep"], table["drop"], table["loop"]) == (["d"], ["k"], ["l"])


@pytest.mark.parametrize("name", ["Escape", "Tab", "Shift+Tab", "Enter", "F5", "AudioVolumeUp"])
def test_the_browsers_own_keys_are_not_given_away(call, name):
    assert call("keys", "canBeGiven", name) is False


# -- frames that are not evenly spaced -----------------------------------------------------------

UNEVEN_S = [0.0, 0.033, 0.1, 0.117, 0.15, 0.9, 0.917]


def test_frame_times_are_added_up_from_their_steps(call):
    document = {"unit_s": 0.0001, "steps": [0, 330, 670, 170, 330, 7500, 170]}
    assert call("frames", "timesOf", document) == pytest.approx(UNEVEN_S)
    assert call("frames", "timesOf", None) is None


def test_uneven_frame_steps_visit_every_frame_once_and_stop_at_the_ends(call):
    at, visited = 0.0, []
    for by in [1] * 8 + [-1] * 8:
        at = call("frames", "steppedIn", UNEVEN_S, at, by, 0.95)
        visited.append(call("frames", "frameIn", UNEVEN_S, at))
    assert visited == [1, 2, 3, 4, 5, 6, 6, 6, 5, 4, 3, 2, 1, 0, 0, 0]


@pytest.mark.parametrize(("number", "start"), list(enumerate(UNEVEN_S)))
def test_a_frame_is_found_by_its_own_rounded_edge(call, number, start):
    for rounded in (start - 0.0004, start + 0.0004):
        assert call("frames", "frameIn", UNEVEN_S, rounded) == number


def test_strings_have_their_lanes_between_voices_and_wave_where_there_is_room(call):
    tall, plain, low = (
        call("picture-paint", "lanes", *size) for size in ((320, 4), (320,), (190, 4))
    )
    assert plain["strings"] is None
    assert low["strings"] is None
    assert low["voices"] == call("picture-paint", "lanes", 190)["voices"]
    top, bottom = tall["strings"]
    assert tall["voices"][1] < top < bottom <= tall["wave"][0]
    assert tall["voices"][1] - tall["voices"][0] >= 70
    assert (bottom - top) / 4 >= 10


# -- marks that are proposed quietly -------------------------------------------------------------


def test_a_quiet_mark_comes_after_the_others_and_is_not_to_be_decided(call):
    marks = [{"mark": "loud", "choice": ""}, {"mark": "soft", "choice": "", "quiet": True}]
    begun = call("state", "begin", {"marks": marks})
    assert call("state", "openMarks", begun) == ["loud"]
    assert call("strip", "stripSaid", begun) == "1 mark. 1 to decide"
    loud = call("state", "select", begun, "loud")
    assert call("state", "nextOpen", loud) == "soft"
    soft = call("state", "select", begun, "soft")
    assert call("strip", "stripSaid", soft) == "Quiet mark 1 of 1. 1 to decide"
    alone = call("state", "begin", {"marks": marks[1:]})
    assert call("strip", "stripSaid", alone) == "1 proposed quietly."
