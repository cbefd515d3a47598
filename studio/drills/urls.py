from django.urls import path

from . import views

urlpatterns = [
    path("drills/", views.shelf, name="shelf"),
    path("drills/new/", views.new, name="drill_new"),
    path("drills/<int:pk>/", views.edit, name="drill_edit"),
    path("drills/<int:pk>/archive/", views.archive, name="drill_archive"),
    path("assignments/<int:pk>/done/", views.tick_off, name="tick_off"),
]
