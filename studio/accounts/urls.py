from django.urls import path

from . import consent_views, views

urlpatterns = [
    path("", views.home, name="home"),
    path("log-in/", views.LogIn.as_view(), name="log_in"),
    path("log-out/", views.LogOut.as_view(), name="log_out"),
    path("consent/<int:pk>/", consent_views.consent_page, name="consent"),
    path("consent/<int:pk>/<slug:purpose>/", consent_views.consent_change, name="consent_change"),
]
