"""The studio's addresses: each app brings its own, under names of its own."""

from django.urls import include, path

urlpatterns = [
    path("", include("studio.accounts.urls")),
    path("", include("studio.clips.urls")),
    path("", include("studio.drills.urls")),
    path("", include("studio.review.urls")),
    path("", include("studio.progress.urls")),
    path("", include("studio.rights.urls")),
    path("", include("studio.operations.urls")),
]

handler403 = "studio.accounts.views.refused"
handler500 = "studio.unavailable.server_error"
