"""URLs of the reports app; names are ``reports-<verb>-<noun>``."""

from django.urls import path

from reports import views

urlpatterns = [
    path("reports/margins/", views.show_margins, name="reports-show-margins"),
    path("reports/margins.csv", views.download_margins, name="reports-download-margins"),
    path("reports/pipeline/", views.show_pipeline, name="reports-show-pipeline"),
    path("reports/pipeline.csv", views.download_pipeline, name="reports-download-pipeline"),
]
