from django.urls import include, path

from studio.review.web.waiting import batch, triage, waiting_list

from .web import assignment, clip, home, phrases, precision, pupils, recording, sending

urlpatterns = [
    path("waiting/", waiting_list.waiting_list, name="waiting_list"),
    path("waiting/batch/", batch.batch_page, name="batch"),
    path("waiting/pile/", batch.moved, name="batch_before"),
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
    path("assignments/<int:pk>/", assignment.assignment_page, name="assignment"),
    path("record/", recording.record, name="record"),
    path("send/", sending.send, name="send"),
    path("send/logged-in/", sending.logged_in, name="send_logged_in"),
    path("send/<uuid:upload_id>/arrived/", sending.arrived, name="send_arrived"),
    path("send/<uuid:upload_id>/words/", sending.words, name="send_words"),
    path("send/<uuid:upload_id>/same/", sending.same, name="send_same"),
    path("send/<uuid:upload_id>/forget/", sending.forget, name="send_forget"),
    path("children/", home.children, name="children"),
    path("children/<int:pk>/record/", recording.record, name="child_record"),
    path("children/<int:pk>/send/", sending.send, name="child_send"),
    path("children/<int:pk>/", home.child, name="child"),
    path("clips/<uuid:clip_id>/", clip.clip_page, name="clip_page"),
    path("clips/<uuid:clip_id>/put-away/", clip.put_away, name="clip_put_away"),
    path("clips/<uuid:clip_id>/take/", triage.take, name="waiting_take"),
    path("clips/<uuid:clip_id>/let-go/", triage.let_go, name="waiting_let_go"),
    path("clips/<uuid:clip_id>/hand-over/", triage.hand_over, name="waiting_hand_over"),
    path("clips/<uuid:clip_id>/rest/", triage.snooze, name="waiting_snooze"),
    path("clips/<uuid:clip_id>/return/take-back/", triage.take_back, name="return_take_back"),
    path("clips/<uuid:clip_id>/return/send-now/", triage.send_now, name="return_send_now"),
    path("", include("studio.review.web.desk.urls")),
]
