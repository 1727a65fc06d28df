"""The URL conf: one include per app, and the error pages."""

from django.urls import include, path

urlpatterns = [
    path("", include("estimates.urls")),
    path("", include("estimates.proposal_urls")),
    path("", include("jobs.urls")),
    path("", include("reports.urls")),
]

handler400 = "config.errors.bad_request"
handler403 = "config.errors.permission_denied"
handler404 = "config.errors.not_found"
handler500 = "config.errors.server_error"
