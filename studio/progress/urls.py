from django.urls import path

from . import views

urlpatterns = [
    path("pupils/<int:pk>/progress/", views.pupil, name="pupil_progress"),
    path("progress/", views.own, name="own_progress"),
    path("children/<int:pk>/progress/", views.child, name="child_progress"),
]
