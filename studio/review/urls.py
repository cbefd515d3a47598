from django.urls import include, path

from .pages import arranging, clip, drill, home, phrases, precision, pupils, send, waiting

urlpatterns = [
    path("waiting/", waiting.waiting_list, name="waiting_list"),
    path("precision/", precision.precision, name="precision"),
    path("phrases/", phrases.shelf, name="phrases"),
    path("phrases/<int:pk>/", phrases.edit, name="phrase"),
    path("phrases/<int:pk>/delete/", phrases.delete, name="phrase_delete"),
    path("phrases/<int:pk>/move/", phrases.move, name="phrase_move"),
    path("pupils/", pupils.pupils, name="pupils"),
    path("pupils/<int:pk>/", pupils.pupil, name="pupil"),
    path("pupils/<int:pk>/about/", pupils.change_pupil, name="pupil_about"),
    path("pupils/<int:pk>/drills/", pupils.set_drill, name="pupil_set_drill"),
    path("queue/", home.queue, name="queue"),
    path("assignments/<int:pk>/", drill.assignment_page, name="assignment"),
    path("send/", send.send, name="send"),
    path("send/<uuid:upload_id>/arrived/", send.arrived, name="send_arrived"),
    path("send/<uuid:upload_id>/forget/", send.forget, name="send_forget"),
    path("children/", home.children, name="children"),
    path("children/<int:pk>/", home.child, name="child"),
    path("clips/<uuid:clip_id>/", clip.clip_page, name="clip_page"),
    path("clips/<uuid:clip_id>/take/", arranging.take, name="waiting_take"),
    path("clips/<uuid:clip_id>/let-go/", arranging.let_go, name="waiting_let_go"),
    path("clips/<uuid:clip_id>/hand-over/", arranging.hand_over, name="waiting_hand_over"),
    path("clips/<uuid:clip_id>/rest/", arranging.snooze, name="waiting_snooze"),
    path("clips/<uuid:clip_id>/return/take-back/", arranging.take_back, name="return_take_back"),
    path("clips/<uuid:clip_id>/return/send-now/", arranging.send_now, name="return_send_now"),
    path("", include("studio.review.desk.urls")),
]
