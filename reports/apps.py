"""The reports app."""

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    """Registers the app with Django."""

    name = "reports"
    verbose_name = "Reports"
