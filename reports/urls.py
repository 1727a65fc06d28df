"""URLs of the reports app; names are ``reports-<verb>-<noun>``."""

from django.urls import path

from reports import views, views_reports

urlpatterns = [
    path("reports/margins/", views.show_margins, name="reports-show-margins"),
    path("reports/margins.csv", views.download_margins, name="reports-download-margins"),
    path("reports/pipeline/", views.show_pipeline, name="reports-show-pipeline"),
    path("reports/pipeline.csv", views.download_pipeline, name="reports-download-pipeline"),
    path("reports/", views_reports.list_reports, name="reports-list-reports"),
    path("reports/on/<slug:name>/", views_reports.show_report, name="reports-show-report"),
    path("reports/on/<slug:name>.csv", views_reports.download_report, name="reports-download-report"),
]
