from django.urls import path

from . import views
from .foreign import views as foreign

_LESSON = "lessons/planned/<int:pk>/"

urlpatterns = [
    path("lessons/week/", views.week, name="lesson_week"),
    path("lessons/plan/", views.plan, name="lesson_plan"),
    path(_LESSON, views.lesson, name="planned_lesson"),
    path(f"{_LESSON}cancel/", views.cancel, name="planned_lesson_cancel"),
    path("lessons/import/", foreign.choose, name="lesson_import"),
    path("lessons/import/take/", foreign.take, name="lesson_import_take"),
]
