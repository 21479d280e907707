"""The command ``witnessmark`` and ``python -m witnessmark``."""

from __future__ import annotations

import gc
import os

from witnessmark.machine import keep_freed_memory

#: Matrices here are small and many: one thread each is fastest, and screening has its own workers.
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
#: Records made between two searches for rings of rubbish. The packs are a hundred thousand records
#: without a ring; Python's own 700 costs a short answer a tenth of its time.
_RECORDS = 50_000


def main() -> None:
    """Run the command line; linear algebra keeps to one thread unless told otherwise."""
    for name in _THREADS:
        os.environ.setdefault(name, "1")
    gc.set_threshold(_RECORDS, 20, 50)
    keep_freed_memory()
    from witnessmark.cli.main import run

    run()


if __name__ == "__main__":
    main()
