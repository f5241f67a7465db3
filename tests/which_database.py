"""Which database this run is on: what hardly depends on it is played at length on one only."""

import os

ON_POSTGRES = os.environ.get("TEST_DATABASE") == "postgres"
