"""`python -m knowngood.cli`, the same as the command `knowngood`."""

import sys

from knowngood.cli import main

if __name__ == "__main__":
    sys.exit(main())
