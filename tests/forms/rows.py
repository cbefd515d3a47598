"""What there is to press and to change: the access matrix's world, and what was heard of a clip."""

from dataclasses import dataclass

from django.contrib.auth.tokens import default_token_generator
from django.utils import timezone
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from studio.accounts import lesson_endings, passwords, second_step
from studio.accounts.invitations import invite
from studio.accounts.models import Consent, Enrolment, Notice
from studio.clips.models import Clip, Stage
from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review import phrases
from studio.review.comments import CommentText, add_comment
from studio.review.marks import bar_pins, hand_marks
from studio.review.marks.hand_marks import HandMarkText
from studio.review.marks.judging import judged
from studio.review.models import Decision, Enclosure, Review
from studio.review.returning.services import return_clip, set_drill_with_clip
from studio.review.waiting import triage
from studio.review.waiting.submissions import begin_review
from tests.cast import Cast, as_person, enrol, guard, make_clip, make_drill, person, set_for
from tests.review.heard_clip import heard_clip, listen_again, measurement

IN_TUNE = (("C4", 4.0, (2.0,)),)


@dataclass(frozen=True)
class Rows:
    """The people, the arguments of each address, and the clip that the desk's forms are about."""

    cast: Cast
    args: dict[str, dict]
    heard: Clip
    pending: Clip  # returned, and not to be seen yet
    code: str  # with which the pupil, whose password is lost, chooses another
    phone_code: str  # in place of the code of the colleague's phone
    quiet: Clip  # of another studio: nothing was found in it, and nothing asked
    unasked: Enrolment  # of the guardian's other child, for whom nobody has agreed
    ended: Enrolment  # of her third, whose lessons she has ended

    @property
    def review(self) -> Review:
        return Review.objects.get(clip=self.heard)


def furnish(cast: Cast, world: dict[str, dict]) -> Rows:
    """Rows for every form, beside those of the access matrix."""
    heard = heard_clip(cast.enrolment, "Octaves, heard")
    _answers_a_page(cast, heard)
    on_heard = {"clip_id": heard.pk}
    args = dict(world)
    for name in world:
        if name.startswith("desk_") and name != "desk_keys":
            args[name] = world[name] | on_heard
    args |= _at_the_desk(cast, Review.objects.get(clip=heard), on_heard)
    pending = make_clip(cast.enrolment, "Just returned")
    type(cast.studio).objects.filter(pk=cast.studio.pk).update(return_delay_min=60)
    return_clip(Review.objects.get(clip=pending), cast.teacher, "Steadier")
    for name in ("return_take_back", "return_send_now"):
        args[name] = {"clip_id": pending.pk}
    phrases.add(cast.teacher, cast.studio, "intonation", "Higher")
    _, secret = invite(cast.studio, "teacher", "Nora Ahlgren", "nora@n.example", by=cast.teacher)
    args["invitation"] = {"secret": secret}
    letter = urlsafe_base64_encode(force_bytes(cast.pupil.pk))
    token = default_token_generator.make_token(cast.pupil)
    args["choose_password"] = {"uidb64": letter, "token": token}
    as_person(cast.teacher)  # is logged in on a second device
    code = passwords.make_codes(cast.pupil)[0]
    quiet = make_clip(cast.foreign_enrolment, "In tune", has_audio=True)
    hear_in_tune(quiet)
    Stage.objects.filter(clip__enrolment=cast.foreign_enrolment, kind="small").update(
        state="failed", failure_code="crashed", attempt=3
    )
    phone_code = second_step.make_codes(cast.colleague)[0]
    return Rows(
        cast, args, heard, pending, code, phone_code, quiet, _other_child(cast), _ended(cast)
    )


def _answers_a_page(cast: Cast, clip: Clip) -> None:
    """The clip answers a drill whose page has its octaves, from C4 on."""
    asked = Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
    drill = drills.add_drill(
        cast.studio, cast.teacher, title="Up in C", words="Slow", score=generate(asked).to_dict()
    )
    begin_review(clip, set_for(cast.enrolment, drill))


def hear_in_tune(clip: Clip) -> None:
    listen_again(clip, measurement(IN_TUNE))


def _other_child(cast: Cast) -> Enrolment:
    child = person("Ida Sandholm", cast.studio, "pupil", logs_in=False)
    place = enrol(child, cast.studio, cast.teacher)
    Consent.objects.filter(pupil=child).delete()
    guard(cast.guardian, child, cast.studio)
    return place


def _ended(cast: Cast) -> Enrolment:
    child = person("Otto Sandholm", cast.studio, "pupil", logs_in=False)
    place = enrol(child, cast.studio, cast.teacher)
    guard(cast.guardian, child, cast.studio)
    lesson_endings.end_lessons(place, by=cast.guardian, side="family")
    Notice.objects.filter(text__contains="Otto Sandholm").delete()  # it would stand on every page
    return place


def _at_the_desk(cast: Cast, review: Review, on_clip: dict) -> dict[str, dict]:
    """A comment with a drawing, a mark by hand, a drill set, and a decision of long ago."""
    said = add_comment(review, cast.teacher, CommentText("bow", "Less", 2.0))
    drawing = Enclosure.objects.create(
        **{"comment": said, "kind": "drawing", "words": "The wrist", "frame_s": 2.0},
        strokes=[{"kind": "circle", "at": [0.5, 0.3], "radius": 0.1}],
        **{"state": "ready", "info": {"aspect": 0.75}},
    )
    hand = hand_marks.add(review, cast.teacher, HandMarkText("Late", 1.0, 2.0), "")
    pin = bar_pins.place(review, (20.0, 21.2), 3, cast.teacher)
    drill = make_drill(cast.teacher, cast.studio, "Set with the clip")
    set_drill_with_clip(review, drill.newest(), cast.teacher, None, "Even")
    triage.take(review, cast.teacher)
    found = judged(review)
    assert found is not None
    old = Decision.objects.create(
        review=review,
        listening=found.listening,
        **{"choice": "kept", "code": "interval_wide", "start_s": 40.0, "end_s": 41.0},
        **{"midis": [60, 72], "sentence": "Wide", "decided_by": cast.teacher},
        decided_at=timezone.now(),
    )
    on_comment = on_clip | {"comment_id": said.pk}
    on_drawing = on_clip | {"enclosure_id": drawing.pk}
    on_hand = on_clip | {"mark_id": hand.pk}
    return {
        "clip_page": on_clip,
        "desk_decide": on_clip | {"mark_id": found.marks[0].id},
        "desk_settle_old": on_clip | {"decision_id": old.pk},
        "desk_bar_pin_take_away": on_clip | {"pin_id": pin.pk},
        **dict.fromkeys(("desk_mark_edit", "desk_mark_delete"), on_hand),
        "desk_comment_edit": on_comment,
        "desk_comment_delete": on_comment,
        "desk_enclosure_add": on_comment,
        "desk_draw_again": on_drawing,
        "desk_enclosure_remove": on_drawing,
        "desk_unset_drill": on_clip | {"assignment_id": review.drills_set.get().pk},
    }
