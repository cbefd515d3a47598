from django.urls import path

from . import views

urlpatterns = [
    path("lessons/<int:pk>/practice/", views.practice, name="practice"),
    path("practice/<int:pk>/", views.entry, name="practice_entry"),
    path("practice/<int:pk>/delete/", views.remove, name="practice_entry_delete"),
]
