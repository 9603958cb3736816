"""`python -m capture` is the command `foldcall`."""

import sys

from capture.cli import main

if __name__ == "__main__":
    sys.exit(main())
