from django.urls import path

from . import consent_views, password_views, people_views, views

urlpatterns = [
    path("", views.home, name="home"),
    path("log-in/", views.LogIn.as_view(), name="log_in"),
    path("log-out/", views.LogOut.as_view(), name="log_out"),
    path("consent/<int:pk>/", consent_views.consent_page, name="consent"),
    path("consent/<int:pk>/<slug:purpose>/", consent_views.consent_change, name="consent_change"),
    path("new-password/", password_views.ask, name="new_password"),
    path("new-password/<uidb64>/<token>/", password_views.Choose.as_view(), name="choose_password"),
    path("people/", people_views.people, name="people"),
    path("people/invite/<slug:role>/", people_views.invite, name="people_invite"),
    path("people/invitations/<int:pk>/cancel/", people_views.cancel, name="invitation_cancel"),
    path("people/guardians/", people_views.link_guardian, name="guardian_link"),
    path("people/guardians/<int:pk>/end/", people_views.unlink_guardian, name="guardian_unlink"),
    path("people/teachers/<int:pk>/end/", people_views.end_membership, name="membership_end"),
    path("people/answering/", people_views.answering, name="people_answering"),
    path("people/places/<int:pk>/end/", people_views.end_place, name="place_end"),
    path("invitation/<str:secret>/", people_views.invitation, name="invitation"),
]
