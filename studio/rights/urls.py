from django.urls import path

from . import views

urlpatterns = [
    path("rights/", views.rights, name="rights"),
]
