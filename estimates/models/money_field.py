"""The column that holds money: whole cents in the database, Decimal dollars in Python."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import models

from estimates.money import MoneyError, from_cents, to_cents

if TYPE_CHECKING:
    _Field = models.Field[Decimal, Decimal]
else:
    _Field = models.Field


class MoneyField(_Field):
    """Dollars and cents.

    Sums over the column are exact on both databases and come back as Decimal. Whole numbers are refused along with
    floats, because nobody can tell dollars from cents in ``5``.
    """

    description = "Dollars and cents"

    def get_internal_type(self) -> str:
        """Return the kind of column: 64-bit whole numbers."""
        return "BigIntegerField"

    def from_db_value(self, value: int | None, expression: Any, connection: Any) -> Decimal | None:
        """Return the stored cents as dollars."""
        return None if value is None else from_cents(int(value))

    def to_python(self, value: Any) -> Decimal | None:
        """Return the amount with two decimals.

        Raises
        ------
        ValidationError : the value is no amount of dollars and cents.
        """
        if value is None:
            return None
        if isinstance(value, str):
            try:
                value = Decimal(value)
            except InvalidOperation:
                raise ValidationError(f'"{value}" is no amount. Enter dollars and cents, such as 44.63.') from None
        try:
            return from_cents(to_cents(value))
        except MoneyError as fault:
            raise ValidationError(str(fault)) from None

    def get_prep_value(self, value: Any) -> int | None:
        """Return the cents to store or compare with.

        Raises
        ------
        MoneyError : the value is no Decimal amount of dollars and cents; the text names the field.
        """
        value = super().get_prep_value(value)
        if value is None:
            return None
        try:
            return to_cents(value)
        except MoneyError as fault:
            raise MoneyError(f"{self.name}: {fault}") from None

    def value_to_string(self, obj: models.Model) -> str:
        """Return the amount as text, for serialisation."""
        value: Decimal | None = self.value_from_object(obj)
        return "" if value is None else str(value)

    def formfield(self, **kwargs: Any) -> forms.Field | None:
        """Return a form field for dollars and cents."""
        return super().formfield(**{"form_class": forms.DecimalField, "decimal_places": 2, **kwargs})
