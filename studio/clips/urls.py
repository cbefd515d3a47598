from django.urls import path

from . import views

urlpatterns = [
    path("clips/<uuid:clip_id>/media/", views.media, name="clip_media"),
    path("clips/<uuid:clip_id>/poster/", views.poster, name="clip_poster"),
    path("clips/<uuid:clip_id>/peaks/", views.peaks, name="clip_peaks"),
]
