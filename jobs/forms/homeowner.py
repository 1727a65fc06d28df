"""Forms of the homeowner's page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from estimates.forms.plain import PlainForm


class QuestionForm(PlainForm):
    """A question; `key` is made with the form, so that a second tap is the same question."""

    words = forms.CharField(
        label="Your question",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"max_length": "Enter a question of at most 2,000 characters"},
    )
    reach = forms.CharField(
        label="Where we reach you",
        help_text="A telephone number or an e-mail address, if it is not the one we have.",
        required=False,
        max_length=120,
        error_messages={"max_length": "Enter at most 120 characters"},
    )
    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["words"].error_messages |= {"required": "Enter your question"}


class FactSheetForm(PlainForm):
    """That the fact sheets were read."""

    read = forms.BooleanField(label="I was shown these fact sheets and have read them")
    option = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["read"].error_messages |= {"required": "Tick that you have read the fact sheets"}


class AcceptForm(PlainForm):
    """Acceptance of one option: each clause that is signed apart, the consent, and the typed name."""

    def __init__(self, *args: Any, clauses: Sequence[Mapping[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for place, clause in enumerate(clauses):
            box = forms.BooleanField(label=clause["text"])
            box.error_messages |= {"required": f"Tick “{clause['title']}”"}
            self.fields[f"clause_{place}"] = box
        consent = forms.BooleanField(label="I agree to sign and receive this contract as an electronic record")
        consent.error_messages |= {
            "required": "Tick that you agree to an electronic record, or call us to sign on paper"
        }
        self.fields["electronic"] = consent
        name = forms.CharField(
            label="Your full name",
            help_text="Typed here, it is your signature.",
            max_length=120,
            widget=forms.TextInput(attrs={"autocomplete": "name"}),
        )
        name.error_messages |= {"required": "Enter your full name"}
        self.fields["typed_name"] = name
        self.fields["option"] = forms.CharField(max_length=40, widget=forms.HiddenInput)
        self.fields["document_sha256"] = forms.CharField(max_length=64, widget=forms.HiddenInput)
        self.clauses = [self[f"clause_{place}"] for place in range(len(clauses))]

    @property
    def acknowledged(self) -> set[int]:
        """Places of the clauses that were ticked; of a valid form."""
        return {place for place in range(len(self.clauses)) if self.cleaned_data[f"clause_{place}"]}


class DeclineForm(PlainForm):
    """Why the homeowner declines, where they say so."""

    reason = forms.CharField(
        label="What made you decide so",
        help_text="You owe no reason; it helps us.",
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "Enter at most 500 characters"},
    )


class CancelForm(PlainForm):
    """A notice to cancel; no reason is owed."""

    reason = forms.CharField(
        label="Anything you want to say",
        help_text="You owe no reason.",
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"max_length": "Enter at most 500 characters"},
    )
