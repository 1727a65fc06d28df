"""Print the JSON Schema of HOUSE.json."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand

from estimates.house import house_schema


class Command(BaseCommand):
    """`python3 manage.py house_schema`."""

    help = "Print the JSON Schema (draft 2020-12) of HOUSE.json; every field has its unit in its description."
    requires_system_checks = ()

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(json.dumps(house_schema(), indent=2, ensure_ascii=False))
