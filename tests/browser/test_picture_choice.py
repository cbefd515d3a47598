"""Which picture of a returned clip is played: what the page measures, what the person chooses."""

import pytest
from playwright.sync_api import Browser, Page, expect

from studio.clips import services, tasks
from studio.clips.models import Clip, Rendition, Stage
from studio.review.waiting.submissions import begin_review
from tests.cast import as_person, make_return
from tests.deploy.processes import until
from tests.samples import SAMPLE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = {"width": 390, "height": 844}
FULL_RATE = 1_500_000
SAYS = "Object.defineProperty(navigator, 'connection', {{value: {}, configurable: true}});"
FAST, SLOW, UNKNOWN = "{downlink: 10}", "{downlink: 0.1}", "undefined"


@pytest.fixture
def clip(cast, settings, tmp_path, monkeypatch) -> Clip:
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setattr(services, "dispatch", lambda clip_id, kind: True)
    clip = services.receive(cast.enrolment, cast.pupil, [SAMPLE.read_bytes()], "clip.mp4")
    tasks.prepare_small(str(clip.pk))
    tasks.prepare_playback(str(clip.pk))
    clip.stages.filter(kind=Stage.Kind.LISTENING).update(state=Stage.State.HEARD)
    begin_review(clip)
    make_return(clip)
    return clip


@pytest.fixture
def opened(chromium: Browser, live_server, cast, clip):
    contexts = []

    def open_page(connection: str, query: str = "", **device) -> Page:
        context = chromium.new_context(viewport=PHONE, base_url=live_server.url, **device)
        contexts.append(context)
        for name, morsel in as_person(cast.pupil).cookies.items():
            context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
        page = context.new_page()
        page.add_init_script(SAYS.format(connection))
        page.goto(f"/clips/{clip.pk}/{query}")
        return page

    yield open_page
    for context in contexts:
        context.close()


def plays(page: Page, which: str) -> None:
    ends = {"small": "/small/", "full": "/media/"}[which]
    until(lambda: page.evaluate("document.querySelector('#player').readyState > 0"), 20, "it opens")
    assert page.evaluate("document.querySelector('#player').currentSrc").endswith(ends)
    expect(page.locator(f"[data-picture={which}]")).to_have_attribute("aria-current", "true")
    assert page.locator(".pictures [aria-current]").count() == 1


@pytest.mark.sweep(1 / 2)
@pytest.mark.parametrize(
    ("connection", "which"),
    [
        (FAST, "full"),
        (SLOW, "small"),
        ("{downlink: 10, saveData: true}", "small"),
        (UNKNOWN, "full"),  # then a try tells; this machine is quick
    ],
)
def test_the_page_chooses_by_what_it_measures(opened, connection, which):
    plays(opened(connection), which)


def test_the_person_chooses_the_place_stays_and_the_device_remembers(opened, clip):
    page = opened(FAST)
    plays(page, "full")
    page.evaluate("document.querySelector('#player').currentTime = 5")
    page.evaluate("document.querySelector('#player').play()")
    page.get_by_role("link", name="Smaller picture").click()
    plays(page, "small")
    until(lambda: page.evaluate("document.querySelector('#player').currentTime") > 5, 20, "goes on")
    assert page.evaluate("document.querySelector('#player').currentTime") < 9
    assert not page.evaluate("document.querySelector('#player').paused")
    page.goto(f"/clips/{clip.pk}/")
    plays(page, "small")
    page.get_by_role("link", name="Full picture").click()
    plays(page, "full")


def test_without_script_the_smaller_one_is_there_and_the_full_one_a_link_away(opened):
    page = opened(FAST, java_script_enabled=False)
    player = page.locator("#player")
    assert player.get_attribute("src").endswith("/small/")
    assert player.get_attribute("preload") == "none"
    page.get_by_role("link", name="Full picture").click()
    assert page.locator("#player").get_attribute("src").endswith("/media/")


def test_a_browser_that_cannot_play_the_smaller_one_gets_the_full_one(opened, clip):
    small = Rendition.objects.get(clip=clip, kind=Rendition.Kind.SMALL)
    Rendition.objects.filter(pk=small.pk).update(path="clips/gone")
    page = opened(SLOW)
    until(lambda: page.evaluate("document.querySelector('#player').videoWidth > 0"), 20, "it plays")
    plays(page, "full")


def test_only_the_clip_is_fetched_before_something_is_wanted(opened, clip):
    page = opened(SLOW)
    plays(page, "small")
    fetched = page.evaluate("performance.getEntriesByType('resource').map((one) => one.name)")
    assert not [name for name in fetched if name.endswith(("/poster/", "/media/", "htmx-2.min.js"))]


@pytest.fixture
def call(chromium, live_server):
    page = chromium.new_page()
    page.goto(f"{live_server.url}/log-in/")
    yield lambda name, *arguments: page.evaluate(
        "([f, a]) => import('/static/pages/line.js').then((all) => all[f](...a))",
        [name, list(arguments)],
    )
    page.close()


def came(*spans: tuple[int, float, float]) -> list[dict]:
    return [{"bytes": n, "begun": begun, "ended": ended} for n, begun, ended in spans]


def test_the_rate_counts_what_came_at_the_same_time_once_and_what_was_there_not_at_all(call):
    assert call("measuredRate", came((20_000, 0, 400), (20_000, 400, 800))) == 400_000
    assert call("measuredRate", came((20_000, 0, 800), (20_000, 0, 800))) == 400_000
    assert call("measuredRate", came((20_000, 0, 400), (0, 400, 900))) == 400_000
    assert call("measuredRate", came((5_000, 0, 1))) is None
    assert call("measuredRate", came((50_000, 5, 5))) > 1e8


@pytest.mark.parametrize(
    ("known", "which"),
    [
        ({"kept": "full", "connection": {"saveData": True}}, "full"),
        ({"connection": {"downlink": 10}, "timings": came((40_000, 0, 800))}, "small"),
        ({"connection": {"downlink": 10}, "timings": came((40_000, 0, 10))}, "full"),
        ({"timings": came((40_000, 0, 10))}, "full"),
        ({"timings": came((40_000, 0, 150))}, "small"),  # 2.1 Mbit/s: too near to 1.5
        ({"waitedMs": 420}, "small"),
        ({"waitedMs": 40}, None),
    ],
)
def test_the_slowest_of_what_is_known_decides(call, known, which):
    nothing = {"kept": None, "connection": None, "timings": [], "waitedMs": 0}
    assert call("choose", nothing | {"fullRate": FULL_RATE} | known) == which
