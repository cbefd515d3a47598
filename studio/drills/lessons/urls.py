from django.urls import path

from . import views

_NOTES = "pupils/<int:pk>/lessons/"
_NOTE = f"{_NOTES}<int:note_pk>/"

urlpatterns = [
    path(_NOTES, views.notes, name="lesson_notes"),
    path(_NOTE, views.note, name="lesson_note"),
    path(f"{_NOTE}agreed/", views.agreed, name="lesson_note_agreed"),
    path(f"{_NOTE}delete/", views.delete, name="lesson_note_delete"),
]
