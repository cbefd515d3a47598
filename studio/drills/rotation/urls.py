from django.urls import path

from . import views

_PLAN = "pupils/<int:pk>/keys/"
_LESSON = f"{_PLAN}lessons/<int:lesson_pk>/"

urlpatterns = [
    path(_PLAN, views.rotation, name="rotation"),
    path(f"{_PLAN}rhythm/", views.rhythm, name="rotation_rhythm"),
    path(f"{_PLAN}holidays/", views.holiday, name="rotation_holiday"),
    path(f"{_PLAN}holidays/<int:holiday_pk>/end/", views.holiday_end, name="rotation_holiday_end"),
    path(f"{_PLAN}readiness/", views.readiness, name="rotation_readiness"),
    path(f"{_PLAN}lists/", views.lists, name="rotation_lists"),
    path(f"{_PLAN}start/", views.start, name="rotation_start"),
    path(f"{_PLAN}rounds/", views.round_add, name="rotation_round_add"),
    path(f"{_PLAN}rounds/<int:number>/", views.round_settings, name="rotation_round"),
    path(f"{_PLAN}rounds/<int:number>/end/", views.round_remove, name="rotation_round_end"),
    path(f"{_PLAN}rounds/<int:number>/order/", views.order, name="rotation_order"),
    path(_LESSON, views.lesson, name="rotation_lesson"),
    path(f"{_LESSON}move/", views.move, name="rotation_move"),
    path(f"{_LESSON}tick/", views.tick, name="rotation_tick"),
    path(f"{_LESSON}set/", views.set_drills, name="rotation_set"),
    path("keys/", views.own_keys, name="rotation_own"),
    path("children/<int:pk>/keys/", views.child_keys, name="rotation_child"),
]
