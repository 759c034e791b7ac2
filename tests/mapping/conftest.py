"""The random plans of the tests of the plan room serve here too."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "plan"))
