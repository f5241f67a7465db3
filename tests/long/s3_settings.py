"""The settings of the tests, with uploads in the store that the environment names."""

from clinic.settings import UPLOADS as IN_STORE  # before the tests take the variables away
from tests.settings import *  # noqa: F403
from tests.settings import STORAGES

assert "bucket_name" in IN_STORE.get("OPTIONS", {}), "MEDIA_S3_BUCKET is not set"
STORAGES = STORAGES | {"default": IN_STORE}
