from django.urls import include, path

from . import calendar_views, making_views, paper_views, several_views, views
from .reading import views as reading

urlpatterns = [
    path("drills/", views.shelf, name="shelf"),
    path("drills/order/", views.order, name="shelf_order"),
    path("drills/new/", views.new, name="drill_new"),
    path("drills/make/", making_views.make, name="drill_make"),
    path("drills/import/", reading.import_file, name="drill_import"),
    path("drills/import/<uuid:reading_id>/", reading.reading, name="drill_reading"),
    path("drills/<int:pk>/", views.drill, name="drill"),
    path("drills/<int:pk>/words/", views.edit, name="drill_edit"),
    path("drills/<int:pk>/fingers/", making_views.fingers, name="drill_fingers"),
    path("drills/<int:pk>/copy/", views.copy, name="drill_copy"),
    path("drills/<int:pk>/favourite/", views.favourite, name="drill_favourite"),
    path("drills/<int:pk>/set/", views.set_for, name="drill_set"),
    path("drills/<int:pk>/several/", several_views.several, name="drill_several"),
    path("drills/<int:pk>/archive/", views.archive, name="drill_archive"),
    path("drills/<int:pk>/paper/", paper_views.paper, name="drill_paper"),
    path("drills/<int:pk>/musicxml/", paper_views.musicxml, name="drill_musicxml"),
    path("assignments/<int:pk>/paper/", paper_views.set_paper, name="assignment_paper"),
    path("assignments/<int:pk>/musicxml/", paper_views.set_musicxml, name="assignment_musicxml"),
    path("assignments/<int:pk>/done/", views.tick_off, name="tick_off"),
    path("", include("studio.drills.practice.urls")),
    path("calendar-feed/<str:secret>.ics", calendar_views.feed, name="calendar_feed"),
    path("", include("studio.drills.rotation.urls")),
    path("", include("studio.drills.lessons.urls")),
    path("", include("studio.drills.timetable.urls")),
]
