"""A module being written: what it says, in every state that was saved, and how that ended."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from education.models.teaching import Edition, Module
from patients.models import AppendOnly


class ModuleDraft(AppendOnly):
    """The next edition of a module, or the first of a new one, while it is written."""

    code = models.SlugField(max_length=60)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]


class DraftSave(AppendOnly):
    """Everything a draft said from an instant on, as a record like that of a module's file.

    The latest save is the draft. It may have problems: unfinished work is kept too.
    """

    draft = models.ForeignKey(ModuleDraft, on_delete=models.PROTECT, related_name="saves")
    number = models.PositiveIntegerField()
    content = models.JSONField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["draft", "number"], name="draft_save_numbered")
        ]


class DraftReview(AppendOnly):
    """What a second person said of a save. It says nothing about a later one."""

    save_reviewed = models.ForeignKey(DraftSave, on_delete=models.PROTECT, related_name="reviews")
    agrees = models.BooleanField()
    note = models.CharField(max_length=1000, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(agrees=True) | ~Q(note=""), name="draft_review_says_why_not"
            )
        ]


class DraftEnd(AppendOnly):
    """A draft was published as an edition, or laid aside."""

    draft = models.OneToOneField(ModuleDraft, on_delete=models.PROTECT, related_name="end")
    edition = models.OneToOneField(
        Edition, null=True, on_delete=models.PROTECT, related_name="written_as"
    )
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")


class ModuleArchiving(AppendOnly):
    """A module was archived, or taken out of the archive; the latest row is in force."""

    module = models.ForeignKey(Module, on_delete=models.PROTECT, related_name="archivings")
    archived = models.BooleanField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
