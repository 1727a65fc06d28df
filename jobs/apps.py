"""The jobs app."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """Registers the app with Django."""

    name = "jobs"
    verbose_name = "Jobs"
