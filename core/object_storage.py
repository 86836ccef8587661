"""Storage of files that are written once, on a server of the S3 protocol.

Needs the packages of the extra `s3`; imported only where the settings choose it.
"""

from typing import Any

from botocore.exceptions import ClientError
from storages.backends.s3 import S3Storage

PRECONDITION_FAILED = ("PreconditionFailed", "ConditionalRequestConflict")


class ObjectStorage(S3Storage):  # type: ignore[misc]  # the package has no types
    """Stores a file under its name once; the server refuses a second one."""

    def get_available_name(self, name: str, max_length: int | None = None) -> str:
        """Return the name as it is: names are digests, so equal names are one file."""
        return name

    def _save(self, name: str, content: Any) -> str:
        content.seek(0)
        target = self.bucket.Object(self._normalize_name(name))
        try:
            # The package's own upload cannot carry this condition.
            target.put(Body=content, IfNoneMatch="*", ContentType="image/jpeg")
        except ClientError as fault:
            if fault.response["Error"]["Code"] not in PRECONDITION_FAILED:
                raise
        return name
