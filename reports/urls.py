"""URLs of the reports app; names are ``reports-<verb>-<noun>``."""

from django.urls import path

from reports import views, views_exports, views_hpxml, views_learning, views_reports

urlpatterns = [
    path("reports/margins/", views.show_margins, name="reports-show-margins"),
    path("reports/margins.csv", views.download_margins, name="reports-download-margins"),
    path("reports/pipeline/", views.show_pipeline, name="reports-show-pipeline"),
    path("reports/pipeline.csv", views.download_pipeline, name="reports-download-pipeline"),
    path("reports/", views_reports.list_reports, name="reports-list-reports"),
    path("reports/learning/", views_learning.show_learning, name="reports-show-learning"),
    path("reports/learning/check/", views_learning.check_learning, name="reports-check-learning"),
    path("reports/learning/decide/", views_learning.decide_learning, name="reports-decide-learning"),
    path("reports/on/<slug:name>/", views_reports.show_report, name="reports-show-report"),
    path("reports/on/<slug:name>.csv", views_reports.download_report, name="reports-download-report"),
    path("reports/letter/<int:year>-<int:month>.docx", views_reports.download_letter, name="reports-download-letter"),
    path("money/exports/", views_exports.show_exports, name="reports-show-exports"),
    path("money/exports/make/", views_exports.make_export, name="reports-make-export"),
    path("money/exports/accounts/", views_exports.change_accounts, name="reports-change-accounts"),
    path("money/exports/<uuid:code>/", views_exports.show_export, name="reports-show-export"),
    path("money/exports/<uuid:code>/file/", views_exports.download_export, name="reports-download-export"),
    path("houses/<uuid:code>/hpxml.xml", views_hpxml.download_hpxml, name="reports-download-hpxml"),
    path("houses/<uuid:code>/assessment/from-file/", views_hpxml.bring_hpxml, name="reports-bring-hpxml"),
]
