"""The README's Python runs on the committed reports, and prints something."""

import contextlib
import io
import re
from pathlib import Path

snippets = re.findall(r"```python\n(.*?)```", Path("README.md").read_text(), re.DOTALL)
assert snippets, "no Python in the README"
for snippet in snippets:
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(snippet, "README.md", "exec"), {})
    assert len(printed.getvalue().splitlines()) > 4, printed.getvalue()
print(f"readme: {len(snippets)} snippets of Python run")
