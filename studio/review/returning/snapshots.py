"""The frozen form of a returned clip: all that the pupil sees, in one JSON document.

``shown`` is what the clip showed of the drill that it answers
(:mod:`studio.review.marks.drill_results`). ``stops`` are its double stops, one for each run, and a
moment's ``heard`` is what sounded there, with its target: both to be heard, and neither is worked
out anew later (:mod:`studio.review.marks.targets`).

A snapshot repeats words and figures on purpose: nothing that is edited later may change it.
"""

from django.db.models import QuerySet

from studio.intonation import render
from studio.intonation.wording.for_children import child_sentence
from studio.review import comments
from studio.review.enclosures import snapshots as enclosed
from studio.review.marks import drill_results
from studio.review.marks.judging import Judged, judged_in
from studio.review.marks.mark import Mark
from studio.review.marks.targets import Target, Targets, stops_of
from studio.review.models import Comment, Decision, HandMark, Review

SCHEMA = 1


def take(review: Review, judged: Judged | None) -> dict:
    """What is returned: the summary, the kept marks and the comments in time order, the drills."""
    kept = [mark for mark in judged.marks if mark.choice == Decision.Choice.KEPT] if judged else []
    names = comments.note_names(review)
    player = review.clip.enrolment.pupil.first_name
    targets = Targets(judged) if judged else None
    said = [_mark(mark, player, targets) for mark in kept]
    said += [_comment(comment, names) | _at(comment, targets) for comment in _comments(review)]
    said += [_hand_mark(mark) | _at(mark, targets) for mark in review.hand_marks.all()]
    if judged:
        left = [d for d in judged.unmatched if d.choice == Decision.Choice.KEPT]
        said += [_decision(review, decision, player) for decision in left]
    return {
        "schema": SCHEMA,
        "summary": review.summary,
        "moments": sorted(said, key=lambda moment: (moment["start_s"], moment["type"])),
        "shown": drill_results.of(judged) if judged else None,
        "stops": stops_of(judged) if judged else [],
        "drills": [_drill(assignment) for assignment in review.drills_set.all()],
    }


def _comments(review: Review) -> QuerySet[Comment]:
    return review.comments.select_related("author").prefetch_related("enclosures")


def _mark(mark: Mark, player: str, targets: Targets | None) -> dict:
    """A mark in its words; in the program's own, a guardian reads them about the child."""
    about = render(mark.code, mark.params, player) if mark.words == mark.sentence else mark.words
    return {
        **({"guardian_text": about} if about != mark.words else {}),
        **_simply(mark.code, mark.params, is_own=mark.words == mark.sentence),
        "type": "mark",
        "code": mark.code,
        "start_s": mark.shown[0],
        "end_s": mark.shown[1],
        "text": mark.words,
        "params": mark.params,
        **_heard(targets and targets.of_mark(mark.code, mark.events, mark.params)),
    }


def _simply(code: str, params: dict, *, is_own: bool) -> dict:
    """The program's own sentence in a child's words; what a teacher wrote stays as it is."""
    return {"child_text": child_sentence(code, params)} if is_own else {}


def _at(said: Comment | HandMark, targets: Targets | None) -> dict:
    return _heard(targets and targets.at(said.start_s, said.end_s))


def _heard(target: Target | None) -> dict:
    return {"heard": target.to_dict()} if target else {}


def _decision(review: Review, decision: Decision, player: str) -> dict:
    """A kept mark that is not proposed any more: as it was heard when it was kept."""
    then = judged_in(review, decision.listening_id)
    mark = then and next((mark for mark in then.marks if mark.decision == decision), None)
    if then and mark:
        return _mark(mark, player, Targets(then))
    return {
        **_simply(decision.code, {}, is_own=not decision.words),
        "type": "mark",
        "code": decision.code,
        "start_s": decision.shown[0],
        "end_s": decision.shown[1],
        "text": decision.words or decision.sentence,
        "params": {},
    }


def _hand_mark(mark: HandMark) -> dict:
    return {
        "type": "mark",
        "code": "by_hand",
        "start_s": mark.start_s,
        "end_s": mark.end_s,
        "text": mark.words,
        "params": {},
    }


def _comment(comment: Comment, names: dict[str, str]) -> dict:
    about = names.get(comment.score_ref)
    return {
        **({"on": about} if about else {}),
        "type": "comment",
        "kind": comment.kind,
        "kind_name": comment.get_kind_display(),
        "start_s": comment.start_s,
        "end_s": comment.end_s,
        "text": comment.text,
        "author": comment.author.name,
        "enclosures": enclosed.of(comment),
    }


def _drill(assignment) -> dict:
    return {
        "assignment": assignment.pk,
        "title": assignment.version.title,
        "words": assignment.version.words,
        "interval": assignment.version.interval,
        "key": assignment.version.key,
        "due_on": assignment.due_on.isoformat() if assignment.due_on else None,
        "goal": assignment.goal,
    }
