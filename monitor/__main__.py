"""``python -m monitor`` is the command ``pilotlamp``."""

import sys

from monitor.cli.main import main

sys.exit(main())
