"""`python -m launch` is the `duestroke` command."""

import sys

from launch.cli import main

sys.exit(main())
