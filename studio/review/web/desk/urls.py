"""The desk's addresses, below a clip's own but for what is kept for a person."""

from django.urls import path

from studio.review.web.shared import keys

from . import (
    bar_pins,
    comparison,
    decisions,
    drills,
    phrases,
    playback,
    returning,
    side_by_side,
    templates,
    views,
)
from . import enclosures as enclosures

CLIP = "clips/<uuid:clip_id>"

urlpatterns = [
    path("desk/keys/", keys.change, name="desk_keys"),
    path(f"{CLIP}/desk.json", views.picture, name="desk_picture"),
    path(f"{CLIP}/desk/parts/<int:part>.json", views.picture_part, name="desk_picture_part"),
    path(f"{CLIP}/desk/standing/", views.standing, name="desk_standing"),
    path(f"{CLIP}/desk/templates/", templates.offered_here, name="desk_templates"),
    path(f"{CLIP}/desk/phrases/", phrases.offered, name="desk_phrases"),
    path(f"{CLIP}/desk/frames.json", playback.frames, name="desk_frames"),
    path(f"{CLIP}/desk/target/<int:event>.json", playback.target, name="desk_target"),
    path(f"{CLIP}/desk/progress.json", views.progress, name="desk_progress"),
    path(f"{CLIP}/marks/<int:mark_id>/", views.decide, name="desk_decide"),
    path(
        f"{CLIP}/decisions/<int:decision_id>/take-back/", views.settle_old, name="desk_settle_old"
    ),
    path(f"{CLIP}/marks/kind/", decisions.decide_kind, name="desk_decide_kind"),
    path(f"{CLIP}/marks/undo/", decisions.undo, name="desk_undo"),
    path(f"{CLIP}/tolerance/", decisions.choose_tolerance, name="desk_tolerance"),
    path(f"{CLIP}/tolerance.json", decisions.try_tolerance, name="desk_try_tolerance"),
    path(f"{CLIP}/bars/", bar_pins.place, name="desk_bar_pin"),
    path(f"{CLIP}/bars/<int:pin_id>/take-away/", bar_pins.take_away, name="desk_bar_pin_take_away"),
    path(f"{CLIP}/marks/by-hand/", decisions.add_mark, name="desk_mark_add"),
    path(f"{CLIP}/marks/by-hand/<int:mark_id>/", decisions.edit_mark, name="desk_mark_edit"),
    path(
        f"{CLIP}/marks/by-hand/<int:mark_id>/delete/",
        decisions.delete_mark,
        name="desk_mark_delete",
    ),
    path(f"{CLIP}/comments/", views.comment_add, name="desk_comment_add"),
    path(f"{CLIP}/comments/<int:comment_id>/", views.comment_edit, name="desk_comment_edit"),
    path(
        f"{CLIP}/comments/<int:comment_id>/delete/",
        views.comment_delete,
        name="desk_comment_delete",
    ),
    path(
        f"{CLIP}/comments/<int:comment_id>/reply/",
        enclosures.add,
        name="desk_enclosure_add",
    ),
    path(
        f"{CLIP}/enclosures/<uuid:enclosure_id>/remove/",
        enclosures.remove,
        name="desk_enclosure_remove",
    ),
    path(
        f"{CLIP}/enclosures/<uuid:enclosure_id>/drawing/",
        enclosures.draw_again,
        name="desk_draw_again",
    ),
    path(f"{CLIP}/enclosures.json", enclosures.states, name="desk_enclosures"),
    path(f"{CLIP}/enclosures/<uuid:enclosure_id>/", enclosures.shown, name="enclosure"),
    path(f"{CLIP}/drills/", drills.set_from_shelf, name="desk_set_drill"),
    path(f"{CLIP}/drills/from-here/", drills.from_here, name="desk_from_here"),
    path(f"{CLIP}/drills/new/", drills.set_new, name="desk_new_drill"),
    path(
        f"{CLIP}/drills/<int:assignment_id>/take-back/", drills.take_back, name="desk_unset_drill"
    ),
    path(f"{CLIP}/compare/", comparison.compare, name="desk_compare"),
    path(f"{CLIP}/together/", side_by_side.together, name="desk_together"),
    path(f"{CLIP}/playings/<int:event>/", comparison.playings, name="desk_playings"),
    path(f"{CLIP}/summary/", returning.save_summary, name="desk_summary"),
    path(f"{CLIP}/summary/proposal/", returning.propose, name="desk_propose"),
    path(f"{CLIP}/preview/", returning.preview, name="desk_preview"),
    path(f"{CLIP}/return/", returning.return_clip, name="desk_return"),
]
