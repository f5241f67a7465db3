"""Static files with a hash in their names, once collectstatic has run."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class Storage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # WhiteNoise has no types
    """Plain names until there is a manifest, so that development and tests need no collecting."""

    def stored_name(self, name: str) -> str:
        """The hashed name of a collected file; the plain name if nothing was collected."""
        return super().stored_name(name) if self.hashed_files else name
