from django.urls import path

from . import account_views, consent_views, password_views, people_views, views

urlpatterns = [
    path("", views.home, name="home"),
    path("log-in/", views.LogIn.as_view(), name="log_in"),
    path("log-out/", views.LogOut.as_view(), name="log_out"),
    path("consent/<int:pk>/", consent_views.consent_page, name="consent"),
    path("consent/<int:pk>/<slug:purpose>/", consent_views.consent_change, name="consent_change"),
    path("log-in/kept/", views.forget_words, name="kept_words_forget"),
    path("account/", account_views.account, name="account"),
    path("account/name/", account_views.name, name="account_name"),
    path("account/address/", account_views.address, name="account_address"),
    path("account/address/<str:token>/", account_views.new_address, name="new_address"),
    path("account/password/", account_views.password, name="account_password"),
    path("account/codes/", account_views.codes, name="account_codes"),
    path("account/sessions/", account_views.end_session, name="account_sessions"),
    path("account/notices/<int:pk>/", account_views.notice_read, name="notice_read"),
    path("new-password/", password_views.ask, name="new_password"),
    path("new-password/code/", password_views.by_code, name="password_by_code"),
    path("new-password/link/<str:secret>/", password_views.by_link, name="password_by_link"),
    path("new-password/<uidb64>/<token>/", password_views.Choose.as_view(), name="choose_password"),
    path("people/", people_views.people, name="people"),
    path("people/invite/<slug:role>/", people_views.invite, name="people_invite"),
    path("people/invitations/<int:pk>/cancel/", people_views.cancel, name="invitation_cancel"),
    path("people/guardians/", people_views.link_guardian, name="guardian_link"),
    path("people/guardians/<int:pk>/end/", people_views.unlink_guardian, name="guardian_unlink"),
    path("people/teachers/<int:pk>/end/", people_views.end_membership, name="membership_end"),
    path("people/answering/", people_views.answering, name="people_answering"),
    path("people/places/<int:pk>/end/", people_views.end_place, name="place_end"),
    path("people/places/<int:pk>/password/", people_views.password_link, name="password_link"),
    path("invitation/<str:secret>/", people_views.invitation, name="invitation"),
]
