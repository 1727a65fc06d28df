from collections.abc import Callable

import pytest
from django.db import models

from estimates.models import ActivityEntry, EstimateRevision
from estimates.models.frozen import Frozen

pytestmark = pytest.mark.django_db


@pytest.fixture(params=["revision", "activity"])
def row(request: pytest.FixtureRequest, freeze_revision: Callable[..., EstimateRevision]) -> models.Model:
    revision = freeze_revision()
    return revision if request.param == "revision" else ActivityEntry.objects.get()


def test_a_written_row_can_be_neither_saved_again_nor_deleted(row: models.Model) -> None:
    with pytest.raises(Frozen, match="written once"):
        row.save()
    with pytest.raises(Frozen, match="cannot be deleted"):
        row.delete()
    with pytest.raises(Frozen):
        type(row).objects.get().save(update_fields=["id"])


def test_no_query_changes_or_deletes_written_rows(row: models.Model) -> None:
    rows = type(row).objects.all()
    with pytest.raises(Frozen):
        rows.update(id=5)
    with pytest.raises(Frozen):
        rows.delete()
    with pytest.raises(Frozen):
        rows.bulk_update([row], ["id"])
    with pytest.raises(Frozen):
        rows.bulk_create([row], update_conflicts=True, unique_fields=["id"], update_fields=["id"])
    with pytest.raises(Frozen):
        rows.update_or_create(defaults={"id": 7}, pk=row.pk)
    with pytest.raises(Frozen):
        type(row)._base_manager.update(id=5)
    assert type(row).objects.count() == 1


def test_a_house_with_a_revision_cannot_be_deleted(freeze_revision: Callable[..., EstimateRevision]) -> None:
    with pytest.raises(models.ProtectedError):
        freeze_revision().house.delete()


def test_a_person_who_acted_cannot_be_deleted(freeze_revision: Callable[..., EstimateRevision]) -> None:
    with pytest.raises(models.ProtectedError):
        freeze_revision().created_by.delete()
