from django.urls import path

from . import views

urlpatterns = [
    path("", views.home, name="home"),
    path("log-in/", views.LogIn.as_view(), name="log_in"),
    path("log-out/", views.LogOut.as_view(), name="log_out"),
]
