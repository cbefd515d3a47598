from django.urls import path

from . import views
from .uploads import views as uploads

urlpatterns = [
    path("uploads/", uploads.uploads, name="uploads"),
    path("uploads/for/<int:place_pk>/", uploads.uploads, name="uploads_for"),
    path("uploads/<uuid:upload_id>/", uploads.upload, name="upload"),
    path("clips/<uuid:clip_id>/media/", views.media, name="clip_media"),
    path("clips/<uuid:clip_id>/small/", views.small, name="clip_small"),
    path("clips/<uuid:clip_id>/poster/", views.poster, name="clip_poster"),
    path("clips/<uuid:clip_id>/peaks/", views.peaks, name="clip_peaks"),
]
