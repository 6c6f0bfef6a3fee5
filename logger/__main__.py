"""``python -m logger`` is ``truestroke``: for machines where the scripts folder is not on the path."""

import sys

from logger.cli import main

if __name__ == "__main__":
    sys.exit(main())
