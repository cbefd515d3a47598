from django.urls import path

from . import copy_views, ending_views, erasure_views, retention_views, views

urlpatterns = [
    path("rights/", views.rights, name="rights"),
    path("rights/copies/", copy_views.begin, name="copy_begin"),
    path("rights/copies/<uuid:pk>/", copy_views.file, name="copy_file"),
    path("rights/copies/<uuid:pk>/remove/", copy_views.remove, name="copy_remove"),
    path("rights/erase/account/", erasure_views.account, name="erase_account"),
    path("rights/erase/lessons/<int:pk>/", erasure_views.lessons, name="erase_lessons"),
    path("rights/erase/clips/<uuid:clip_id>/", erasure_views.clip, name="erase_clip"),
    path("rights/lessons/<int:pk>/", ending_views.kept_lessons, name="kept_lessons"),
    path("rights/lessons/<int:pk>/end/", ending_views.end, name="lessons_end"),
    path("rights/lessons/<int:pk>/take-back/", ending_views.take_back, name="lessons_take_back"),
    path("rights/lessons/<int:pk>/elsewhere/", ending_views.elsewhere, name="lessons_elsewhere"),
    path("rights/lessons/<int:pk>/clips/", erasure_views.kept_clips, name="kept_clips"),
    path("rights/times/", retention_views.times, name="times"),
    path("rights/erased/<uuid:job_id>/", erasure_views.erasure, name="erasure"),
]
