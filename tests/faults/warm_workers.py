"""Imported once, by the process that forks a pool's workers: all that they would import."""

from __future__ import annotations

import os
import sys

from tests.warm import import_everything

os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
sys.modules.update(dict.fromkeys(("hypothesis", "dask")))  # as it is installed
import_everything()
