"""Moments and comment forms in the desk's templates."""

from django import template
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from studio import figures
from studio.intonation.wording.advice import FINGERS
from studio.review import comments
from studio.review.enclosures.snapshots import shown_of
from studio.review.web.desk.forms import CommentForm, HandMarkForm
from studio.review.web.shared import pictures

register = template.Library()

MOST_S = 86_400  # no recording lasts a day


@register.filter
def moment(seconds: float, digits: int = 1) -> str:
    """Where in a recording, with a tenth unless told otherwise."""
    return figures.place(seconds, int(digits))


@register.filter
def noted(score_ref: str, note_names: dict[str, str]) -> str:
    """The name of what a comment is about."""
    return note_names.get(score_ref, _("a note that is no longer in the drill"))


@register.filter
def formatted(text: str) -> SafeString:
    """What a teacher wrote, with its bold, italic and lists."""
    return comments.formatted(text)


@register.simple_tag(takes_context=True)
def from_moment(context: template.Context) -> str:
    """Where a recording begins, as its address says it, if the page was asked for a moment.

    Source: W3C, Media Fragments URI 1.0, section 4.2.1.
    """
    try:
        at = float(context["request"].GET.get("at", ""))
    except ValueError:
        return ""
    return f"#t={at:.3f}" if 0 <= at < MOST_S else ""


@register.filter
def notes_under(block, mark) -> str:
    """What sounds where a mark by hand is, ``octave D5–D6``; empty after the block's last note."""
    return block.name if mark.start_s < block.end_s else ""


@register.simple_tag(takes_context=True)
def said_before(context: template.Context, block) -> list:
    """What was said before about the marks of a run; nothing outside the desk."""
    desk = context.get("desk")
    return desk.said_before(block) if desk is not None else []


@register.filter
def fine_moment(seconds: float) -> str:
    """A moment to the hundredth: finer than a frame at any usual rate."""
    return figures.place(seconds, 2)


@register.filter
def movements(params: dict) -> list[str]:
    """What the fingers of a mark have to go, exactly: ``fourth finger, D string: 2.3 ± 0.2 mm``."""
    return [
        f"{_(FINGERS[move['finger']])}, {move['string']} string: "
        f"{figures.millimetres(move['move_mm'], move.get('uncertainty_mm'))}"
        for move in params.get("moves") or ()
        if move.get("move_mm") is not None
    ]


@register.simple_tag
def hand_form(mark) -> HandMarkForm:
    """The form that edits a mark by hand, filled with what it says now."""
    initial = {name: getattr(mark, name) for name in ("words", "start_s", "end_s")}
    return HandMarkForm(name=f"hand-{mark.pk}", initial=initial)


@register.simple_tag
def comment_form(comment, note_names=None) -> CommentForm:
    """The form that edits a comment, filled with what it says now."""
    fields = ("kind", "text", "start_s", "end_s", "score_ref")
    initial = {name: getattr(comment, name) for name in fields}
    return CommentForm(name=f"comment-{comment.pk}", initial=initial, notes=note_names)


@register.simple_tag(takes_context=True)
def pictures_of(context, clip) -> pictures.Pictures:
    """What there is to play of a clip, and which of it was asked for in the page's address."""
    return pictures.of(clip, context["request"].GET.get("picture", ""))


@register.filter
def enclosed(comment, clip) -> list[dict]:
    """What goes with a comment, as the page shows it."""
    return shown_of(comment, clip.pk)
