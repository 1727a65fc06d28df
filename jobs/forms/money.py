"""Forms of invoices, payments, credit notes, refunds and costs."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from estimates.forms.plain import DayField, MoneyInput
from jobs.forms.crews import BlamedForm
from jobs.models import CostKind, InvoiceKind, Job, JobWall, Payer, PaymentMethod

CENT = Decimal("0.01")


class KeyedForm(BlamedForm):
    """A form that is carried out once, however often it is sent."""

    key = forms.UUIDField(widget=forms.HiddenInput)


class InvoiceForm(KeyedForm):
    """What can be chosen of an invoice."""

    issued_on = DayField(label="Day of issue")
    due_on = DayField(label="Due on")
    amount = MoneyInput(label="Amount", help_text="Sales tax included.", low=CENT)
    retained = MoneyInput(
        label="Held back", help_text="Retainage: asked for with the final invoice.", required=False, initial="0.00"
    )

    def __init__(self, *args: Any, kind: InvoiceKind, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if kind != InvoiceKind.PROGRESS:
            del self.fields["amount"], self.fields["retained"]


class PaymentForm(KeyedForm):
    """Money that came in."""

    amount = MoneyInput(label="Amount", low=CENT)
    received_on = DayField(label="Received on")
    payer = forms.TypedChoiceField(label="From", choices=Payer, coerce=Payer, initial=Payer.HOMEOWNER)
    method = forms.TypedChoiceField(
        label="How it came", choices=PaymentMethod, coerce=PaymentMethod, initial=PaymentMethod.CHECK
    )
    reference = forms.CharField(
        label="Reference", help_text="Number of the check or transfer.", max_length=80, required=False
    )


class CreditForm(KeyedForm):
    """A credit note."""

    what = forms.ChoiceField(
        label="What it takes off",
        choices=[
            ("amount", "An amount: the customer pays that much less in the end"),
            ("whole", "All that is left: the invoice was wrong, its work is billed again"),
        ],
        initial="amount",
        widget=forms.RadioSelect,
    )
    amount = MoneyInput(label="Amount", help_text="Sales tax included.", required=False, low=CENT)
    issued_on = DayField(label="Day of issue")
    reason = forms.CharField(label="Reason", help_text="Stands on the note.", max_length=300)

    def clean(self) -> dict[str, Any]:
        """An amount is needed where one was chosen."""
        given = super().clean() or {}
        if given.get("what") == "amount" and given.get("amount") is None and "amount" not in self.errors:
            self.add_error("amount", "Enter the amount")
        return given


class RefundForm(KeyedForm):
    """Money that goes back."""

    amount = MoneyInput(label="Amount", low=CENT)
    paid_on = DayField(label="Paid on")
    method = forms.TypedChoiceField(
        label="How it went", choices=PaymentMethod, coerce=PaymentMethod, initial=PaymentMethod.CHECK
    )
    reference = forms.CharField(
        label="Reference", help_text="Number of the check or transfer.", max_length=80, required=False
    )
    reason = forms.CharField(label="Reason", max_length=300)


class TaxCertificateForm(BlamedForm):
    """The certificate of the customer."""

    holds = forms.TypedChoiceField(
        label="Certificate of capital improvement",
        choices=[("yes", "The customer gave one: no sales tax"), ("no", "The customer gives none: the tax is charged")],
        coerce=lambda word: word == "yes",
        widget=forms.RadioSelect,
    )
    number = forms.CharField(label="Number", help_text="Or its date and who signed it.", max_length=60, required=False)
    received_on = DayField(label="Received on")
    note = forms.CharField(label="Note", max_length=300, required=False)


class WallField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A wall by its name."""

    def label_from_instance(self, obj: Any) -> str:
        """Return the name of the wall."""
        return str(obj.name)


class CostForm(KeyedForm):
    """A cost that no crew reports."""

    kind = forms.TypedChoiceField(label="Kind of cost", choices=CostKind, coerce=CostKind)
    words = forms.CharField(label="What for", max_length=200)
    amount = MoneyInput(label="Amount", help_text="With a minus it takes a wrong one back.", low=None)
    on = DayField(label="Day of the bill")
    wall = WallField(label="Wall", queryset=JobWall.objects.none(), required=False, empty_label="The whole job")
    call_back = forms.BooleanField(label="For a call-back", required=False)

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        wall = self.fields["wall"]
        assert isinstance(wall, forms.ModelChoiceField)
        wall.queryset = JobWall.objects.filter(job=job)


class MonthForm(BlamedForm):
    """A month to close."""

    month = DayField(widget=forms.HiddenInput)
