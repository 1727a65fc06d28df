"""``manage.py send_due``: what is due by the clock: letters of the outbox, and proposals whose last day is over."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from estimates.outbox import outbox_again, outbox_send
from estimates.proposals import proposals_expire


class Command(BaseCommand):
    """Closes what has ended and delivers due messages once; run it every minute or so, several at once do no harm."""

    help = "Close proposals whose last day is over, and deliver the messages that are due."

    def add_arguments(self, parser: CommandParser) -> None:
        """Declare ``--most`` and ``--again``."""
        parser.add_argument("--most", type=int, default=100, help="how many messages to take at most (100)")
        parser.add_argument(
            "--again", metavar="KEY", help="first let the message KEY, which was given up, be tried again"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Deliver and report."""
        if options["again"]:
            try:
                outbox_again(key=options["again"], now=timezone.now())
            except ValueError as fault:
                raise CommandError(str(fault)) from fault
        closed = proposals_expire(now=timezone.now(), origin="manage.py send_due")
        if closed:
            self.stdout.write(f"{closed} {'proposal' if closed == 1 else 'proposals'} past the last day closed")
        done = outbox_send(most=options["most"])
        self.stdout.write(f"{done.sent} sent, {done.waiting} to be tried again, {done.given_up} given up")
