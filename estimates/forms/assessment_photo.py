"""A photo of the assessment: the file, what it shows, and of which part."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core import signing

from estimates.forms.plain import DayField, PlainForm
from estimates.photos import BadPhoto, photo_keep, photo_path

SALT = "estimates.photo"

PHOTO_TYPES = ("image/jpeg", "image/png", "image/webp", "image/heic", "image/heif", ".heic", ".heif")
"""What the window for choosing a file offers; some machines know the last two only by their names."""


class PhotoFile(forms.FileField):
    """A photo; its value is the sha256 of what is kept of it."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.ClearableFileInput(attrs={"accept": ",".join(PHOTO_TYPES)}), **kwargs)
        self.error_messages["empty"] = "The file is empty. Choose a photo."
        self.error_messages["invalid"] = "Choose a photo; no file arrived."

    def clean(self, data: Any, initial: Any = None) -> str:
        """Keep the photo, and return its sha256; "" where none was sent."""
        file = super().clean(data, initial)
        if not file:
            return ""
        try:
            return photo_keep(file, file.size)
        except BadPhoto as bad:
            raise forms.ValidationError(str(bad)) from None


def kept_mark(sha256: str) -> str:
    """A mark that brings a photo back with the next try of a form; nobody can make one up."""
    return signing.dumps(sha256, salt=SALT)


def kept_photo(mark: str) -> str:
    """The sha256 in a mark, "" where there is none or its file is gone."""
    try:
        sha256 = str(signing.loads(mark, salt=SALT, max_age=24 * 3600))
    except signing.BadSignature:
        return ""
    return sha256 if photo_path(sha256).exists() else ""


class PhotoForm(PlainForm):
    """A new photo; one that arrived with a faulty form is kept for the next try."""

    file = PhotoFile(label="Photo", required=False, help_text="Taken with the tablet, or chosen from its pictures.")
    kept = forms.CharField(widget=forms.HiddenInput, required=False, max_length=400)
    caption = forms.CharField(label="Caption", max_length=200, help_text="What the photo shows.")
    part = forms.ChoiceField(label="Part of the house", required=False)
    taken_on = DayField(label="Day it was taken")

    def __init__(self, *args: Any, parts: Sequence[tuple[str, str]] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["part"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "The house"), *parts]
        self.sha256 = ""

    def clean(self) -> dict[str, Any]:
        """Ask for a photo, unless one is kept."""
        found = super().clean() or {}
        self.sha256 = found.get("file") or kept_photo(str(found.get("kept") or ""))
        if not self.sha256 and "file" not in self.errors:
            self.add_error("file", "Choose a photo")
        return found
