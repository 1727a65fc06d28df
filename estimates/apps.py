"""The estimates app."""

from django.apps import AppConfig


class EstimatesConfig(AppConfig):
    """Registers the app with Django."""

    name = "estimates"
    verbose_name = "Estimates"

    def ready(self) -> None:
        """Make every kind of message known to the outbox, whichever command sends it."""
        from estimates import mail  # noqa: F401 (registers its kind)
