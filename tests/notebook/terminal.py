"""On a terminal: 80 columns, colour only there and not under NO_COLOR, progress; in a pipe none of it."""

import os
import pty
import re
import subprocess
import sys
import tempfile
from pathlib import Path

ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


def on_terminal(arguments, **more):
    """What a call shows on a terminal of 80 columns."""
    import fcntl
    import struct
    import termios

    environment = {k: v for k, v in os.environ.items() if k != "NO_COLOR"} | {"TERM": "xterm"} | more
    main, side = pty.openpty()
    fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    child = subprocess.Popen(arguments, stdin=side, stdout=side, stderr=side, env=environment)
    os.close(side)
    shown = b""
    while True:
        try:
            piece = os.read(main, 65536)
        except OSError:
            break
        if not piece:
            break
        shown += piece
    assert child.wait() == 0, shown
    return shown.decode()


def lines(shown):
    """The lines as they stand at the end: what a carriage return has overwritten is gone."""
    return [ESCAPE.sub("", line.split("\r")[-1]) for line in shown.replace("\r\n", "\n").split("\n")]


def main(program):
    with tempfile.TemporaryDirectory() as folder:
        pipeline = Path("pipelines/weekly.toml").read_text()
        here = str(Path.cwd())
        pipeline = pipeline.replace("../sample-logs", f"{here}/sample-logs")
        pipeline = re.sub(r'folder *= *".*"', 'folder = "out"', pipeline)
        file = Path(folder) / "weekly.toml"
        file.write_text(pipeline)
        for command in (["run", str(file)], ["check", str(file)], ["plan", "LH-09", str(file)]):
            shown = on_terminal([program, *command])
            wide = [line for line in lines(shown) if len(line) > 80 and folder not in line]
            assert not wide, f"{command}: wider than 80 columns: {wide[:3]}"
            plain = on_terminal([program, *command], NO_COLOR="1")
            coloured = re.findall(r"\x1b\[[0-9;]*m", plain)
            assert not coloured, f"{command}: colour under NO_COLOR: {coloured[:3]}"
        coloured = on_terminal([program, "run", str(file)])
        assert re.search(r"\x1b\[[0-9;]+m", coloured), "no colour on a terminal"
        fresh = on_terminal([program, "run", "--fresh", str(file)])
        assert re.search(r"of 165 logs", fresh) and re.search(r"/s", fresh), "no progress on a terminal"
        piped = subprocess.run([program, "run", str(file)], capture_output=True, check=True)
        assert b"\x1b" not in piped.stdout and piped.stderr == b"", piped.stderr
        quiet = subprocess.run([program, "run", "--quiet", str(file)], capture_output=True, check=True)
        assert quiet.stdout == b"" and quiet.stderr == b"", (quiet.stdout, quiet.stderr)
    print("terminal: 80 columns, colour and progress only where they belong")


main(os.path.abspath(sys.argv[1]))
