"""Run each block of Python of a Markdown page by itself, in the working directory."""

import re
import sys
from pathlib import Path

for block in re.findall(
    r"^```python\n(.*?)^```", Path(sys.argv[1]).read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL
):
    exec(compile(block, sys.argv[1], "exec"), {"__name__": "__main__"})
