"""The pictures, videos and captions of the teaching; their bytes lie in the store for uploads."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from patients.models import AppendOnly


class FileKind(models.TextChoices):
    PICTURE = "picture"
    VIDEO = "video"
    CAPTIONS = "captions"


class TeachingFile(AppendOnly):
    """A file that a section may show. Its name is the SHA-256 of its content, and its kind's end.

    So an edition that names it always shows the same, and nobody finds it by guessing.
    """

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=10, choices=FileKind.choices)
    size = models.PositiveBigIntegerField()  # bytes, of a picture those of its large size
    width = models.PositiveIntegerField(null=True)  # pixels, of a picture alone
    height = models.PositiveIntegerField(null=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind=FileKind.PICTURE, width__gte=1, height__gte=1)
                | (~Q(kind=FileKind.PICTURE) & Q(width__isnull=True, height__isnull=True)),
                name="teaching_file_measures",
            ),
        ]

    def __str__(self) -> str:
        return self.name
