"""Uploads in an S3-compatible store, chosen by the environment.  `-m tests.long.s3_store`

Starts a store on the loopback (moto's server; requirements-bench.txt), makes a bucket, sets the
variables of docker-compose.yml, and runs what is tested of pictures, videos and captions against
it, from the editor to the patient's page. Beside it a longer video, of which a part is asked for
(RFC 9110): the store may not be asked for more than that part.

Leaves with 1 if anything of it fails, or if nothing lies in the bucket afterwards.
"""

import os
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import boto3

from clinic.children import Children
from tests import servers
from tests.long.installation import takes_connections, until

ROOT = Path(__file__).resolve().parent.parent.parent
BUCKET = "uploads"
TESTS = ("tests/clinic/test_module_files.py", "tests/long/parts_from_s3.py")


def main() -> int:
    """Start the store, run the tests against it, count what lies in it."""
    port = servers.free_port()
    address = f"http://127.0.0.1:{port}"
    with TemporaryDirectory(prefix="clear-by-s3-") as folder, Children() as children:
        children.start(
            "store",
            [sys.executable, "-m", "moto.server", "--host", "127.0.0.1", "--port", str(port)],
            log=Path(folder) / "store.log",
            env=dict(os.environ),
            folder=ROOT,
        )
        until(lambda: takes_connections(port))
        store = boto3.client(
            "s3",
            endpoint_url=address,
            region_name="us-east-1",
            aws_access_key_id="key",
            aws_secret_access_key="secret",
        )
        store.create_bucket(Bucket=BUCKET)
        env = os.environ | {
            "CLINIC_DATA_DIR": folder,
            "MEDIA_S3_BUCKET": BUCKET,
            "MEDIA_S3_ENDPOINT_URL": address,
            "MEDIA_S3_REGION": "us-east-1",
            "MEDIA_S3_ACCESS_KEY": "key",
            "MEDIA_S3_SECRET_KEY": "secret",
        }
        begun = time.monotonic()
        command = [sys.executable, "-m", "pytest", "--ds=tests.long.s3_settings", "-q", *TESTS]
        code = subprocess.run(command, cwd=ROOT, env=env, check=False).returncode
        kept = store.list_objects_v2(Bucket=BUCKET).get("KeyCount", 0)
        print(f"{kept} objects lie in the store; {time.monotonic() - begun:.0f} s")
        return code or int(kept == 0)


if __name__ == "__main__":
    sys.exit(main())
