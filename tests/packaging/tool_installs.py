"""Do `pipx install` and `uv tool install` of the built wheel give a working `lagline`?

    python tests/packaging/tool_installs.py [--wheel FILE.whl] [--only pipx]

Builds the wheel unless one is given, puts pipx and uv into an environment of its own, installs the wheel
with each into an empty home and runs there, away from this checkout: `lagline --version`, `lagline machine`
and the demo. Downloads what Lagline needs, as a user's machine would. Ends with 1 and a sentence when
something is wrong. The home is removed at the end.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BIN = "Scripts" if os.name == "nt" else "bin"
KEPT = ("SYSTEMROOT", "TEMP", "TMP", "LANG", "SSL_CERT_FILE", "REQUESTS_CA_BUNDLE")


def demand(holds: object, sentence: str) -> None:
    if not holds:
        raise SystemExit(f"tool_installs.py: {sentence}")
    print(f"ok    {sentence}", flush=True)


def environment(home: Path) -> dict[str, str]:
    """An empty home; of the caller's environment only what downloads need."""
    kept = {
        name: value for name, value in os.environ.items() if name in KEPT or name.startswith(("PIP_", "UV_"))
    }
    places = {
        "HOME": home, "USERPROFILE": home, "PIPX_HOME": home / "pipx", "PIPX_BIN_DIR": home / "bin",
        "UV_TOOL_DIR": home / "uv", "UV_TOOL_BIN_DIR": home / "bin",
    }  # fmt: skip
    return (
        kept
        | {"PATH": os.environ["PATH"], "COLUMNS": "80"}
        | {name: str(path) for name, path in places.items()}
    )


def run(*command: object, home: Path, fails: bool = False) -> str:
    done = subprocess.run(
        [str(part) for part in command],
        env=environment(home), cwd=home, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode and not fails:
        raise SystemExit(
            f"tool_installs.py: {' '.join(map(str, command))} ended with {done.returncode}\n{done.stderr}"
        )
    return done.stdout


def built(scratch: Path) -> Path:
    words = [sys.executable, "-m", "build", "--wheel", "--outdir", str(scratch / "wheel"), str(ROOT)]
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
    return next((scratch / "wheel").glob("*.whl"))


def check(tool: str, install: list[object], wheel: Path) -> None:
    with tempfile.TemporaryDirectory(prefix=f"lagline-{tool}-") as name:
        home = Path(name)
        run(*install, wheel, home=home)
        program = home / "bin" / ("lagline.exe" if os.name == "nt" else "lagline")
        demand(program.exists(), f"{tool}: installed")
        said = run(program, "--version", home=home).strip()
        demand(said.startswith("lagline "), f"{tool}: --version says {said!r}")
        checks = {
            one["name"]: one for one in json.loads(run(program, "machine", "--json", home=home))["checks"]
        }
        missing = [one["name"] for one in checks.values() if one["verdict"] == "missing"]
        demand(not missing, f"{tool}: machine finds nothing missing {missing or ''}".strip())
        demand(
            checks["demo takes"]["verdict"] == "good", f"{tool}: demo takes: {checks['demo takes']['found']}"
        )
        out = home / "demo"
        run(program, "demo", "--out", out, home=home)
        there = [path.name for path in out.rglob("*") if path.is_file()]
        demand(len(there) >= 8, f"{tool}: demo wrote {len(there)} files")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--wheel", type=Path)
    parser.add_argument("--only", choices=["pipx", "uv"])
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lagline-tools-") as name:
        scratch = Path(name)
        wheel = asked.wheel.resolve() if asked.wheel else built(scratch)
        print(f"wheel {wheel.name}, {wheel.stat().st_size / 1e6:.1f} MB", flush=True)
        venv.create(scratch / "tools", with_pip=True)
        tools = scratch / "tools" / BIN
        subprocess.run([str(tools / "pip"), "install", "-q", "pipx", "uv"], check=True)
        if asked.only != "uv":
            check("pipx", [tools / "pipx", "install"], wheel)
        if asked.only != "pipx":
            check("uv", [tools / "uv", "tool", "install", "--python", sys.executable], wheel)


if __name__ == "__main__":
    main()
