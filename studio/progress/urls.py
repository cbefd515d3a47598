from django.urls import path

from . import views
from .overview import pages
from .reports import views as reports

urlpatterns = [
    path("overview/", pages.overview, name="overview"),
    path("pupils/<int:pk>/progress/", views.pupil, name="pupil_progress"),
    path("progress/", views.own, name="own_progress"),
    path("children/<int:pk>/progress/", views.child, name="child_progress"),
    path("pupils/<int:pk>/reports/", reports.reports, name="pupil_reports"),
    path("reports/<uuid:report_id>/", reports.report, name="report"),
    path("reports/<uuid:report_id>/write/", reports.write, name="report_write"),
    path("reports/<uuid:report_id>/throw-away/", reports.throw_away, name="report_throw_away"),
    path("reports/<uuid:report_id>/report.pdf", reports.report_file, name="report_file"),
]
