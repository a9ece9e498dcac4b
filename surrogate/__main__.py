"""``python -m surrogate``."""

import sys

from surrogate.cli import main

sys.exit(main())
