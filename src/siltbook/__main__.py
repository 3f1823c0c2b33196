"""`python -m siltbook` is the command `siltbook`."""

import os
import sys

# `-m` makes the current folder the first place to import from; nothing that lies there is run.
if sys.path and os.path.realpath(sys.path[0]) == os.path.realpath(os.curdir):
    del sys.path[0]

from siltbook.batch.cli import main

main()
