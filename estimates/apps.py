"""The estimates app."""

from django.apps import AppConfig


class EstimatesConfig(AppConfig):
    """Registers the app with Django."""

    name = "estimates"
    verbose_name = "Estimates"
