"""Does a cluster of two nodes give the front of one process?

    uv run python tests/benchmarks/two_nodes.py FOLDER [--choices 18]

Starts two Ray nodes on this machine's loopback, of one core each, works on a small study there by `--ray`,
works on the same one in one process, and compares every result.
"""

from __future__ import annotations

import argparse
import os
import secrets
import subprocess
import sys
from pathlib import Path

from kill_and_resume import results_at, same, wrenpipe

PORT = 26379
ADDRESS = f"127.0.0.1:{PORT}"
REQUEST = """[study]
name = "Two nodes"
sizes = ["A4"]
choices = {choices}
generation = 4
seed = 3

[[hand]]
name = "Nine"
glove = 9
"""


def ray(*arguments: str) -> None:
    executable = Path(sys.executable).with_name("ray")
    subprocess.run([str(executable), *arguments], check=True, stdout=subprocess.DEVNULL)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--choices", type=int, default=18)
    asked = parser.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    request = asked.folder / "request.toml"
    request.write_text(REQUEST.format(choices=asked.choices), "utf-8")
    start = ("study", "start", request, "--at")
    os.environ |= {
        "RAY_ENABLE_UV_RUN_RUNTIME_ENV": "0",
        # Nodes and leader prove to each other that they belong together.
        "RAY_AUTH_MODE": "token",
        "RAY_AUTH_TOKEN": secrets.token_hex(32),
    }
    common = ("--num-cpus=1", "--disable-usage-stats", "--node-ip-address=127.0.0.1")
    ray("start", "--head", f"--port={PORT}", "--include-dashboard=false", *common)
    try:
        ray("start", f"--address={ADDRESS}", *common)
        cluster = wrenpipe(
            "study", "start", request, "--at", asked.folder / "cluster", "--ray", ADDRESS
        ).wait()
    finally:
        ray("stop", "--force")
    here = wrenpipe(*start, asked.folder / "here").wait()
    one, other = (results_at(asked.folder / name) for name in ("cluster", "here"))
    equal = set(one) == set(other) and all(same(one[slot], other[slot]) for slot in one)
    print(f"{len(one)} and {len(other)} choices examined; every result the same: {'yes' if equal else 'NO'}")
    sys.exit(0 if equal and cluster == here == 0 else 1)


if __name__ == "__main__":
    main()
