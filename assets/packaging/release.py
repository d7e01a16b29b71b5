"""Makes a release: version, changelog, archives, checksums, commit and tag. Pushes nothing.

    python assets/packaging/release.py 0.2.0             does it, in a checkout without changes
    python assets/packaging/release.py 0.2.0 --try       the same in a copy that is thrown away afterwards

1. Writes the version where it stands (pyproject.toml, the package, windows.iss).
2. Gives what stands under "Unreleased" in CHANGELOG.md the version and today's date.
3. Asks the licence gate and the register of names.
4. Builds source archive and wheel into dist/VERSION, with SHA256SUMS.
5. Commits and tags vVERSION.

Bundles are built on each system by build_bundle.py (.github/workflows/bundles.yml). Needs the `test` extra.
"""

from __future__ import annotations

import argparse
import datetime
import hashlib
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VERSION = re.compile(r"\d+\.\d+\.\d+")
PLACES = {  # file: the line that holds the version
    "pyproject.toml": re.compile(r'^(version = ")([^"]+)(")$', re.MULTILINE),
    "app/lagline/__init__.py": re.compile(r'^(__version__ = ")([^"]+)(")$', re.MULTILINE),
    "assets/packaging/windows.iss": re.compile(r"^(AppVersion=)(\S+)()$", re.MULTILINE),
}
UNRELEASED = "## Unreleased\n"


def stop(sentence: str) -> None:
    raise SystemExit(f"release.py: {sentence}")


def run(folder: Path, *command: object) -> str:
    done = subprocess.run(
        [str(part) for part in command], cwd=folder, capture_output=True, text=True, check=False
    )
    if done.returncode:
        stop(f"{' '.join(map(str, command))} ended with {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout


def with_version(text: str, line: re.Pattern[str], version: str) -> str:
    """The text with the version in its one place. Raises ValueError where there is none or more than one."""
    if len(line.findall(text)) != 1:
        raise ValueError("the version does not stand there once")
    return line.sub(rf"\g<1>{version}\g<3>", text)


def with_section(changelog: str, version: str, day: str) -> str:
    """The changelog with what was unreleased under its version. Raises ValueError where nothing was."""
    before, mark, after = changelog.partition(UNRELEASED)
    entries = after.partition("\n## ")[0]
    if not mark or "\n- " not in entries:
        raise ValueError("nothing stands under Unreleased in CHANGELOG.md")
    return f"{before}{UNRELEASED}\n## {version} ({day})\n{after}"


def write(folder: Path, version: str) -> None:
    for name, line in PLACES.items():
        path = folder / name
        path.write_text(with_version(path.read_text("utf-8"), line, version), "utf-8")
    changelog = folder / "CHANGELOG.md"
    day = datetime.date.today().isoformat()
    changelog.write_text(with_section(changelog.read_text("utf-8"), version, day), "utf-8")


def build(folder: Path, version: str) -> list[Path]:
    out = folder / "dist" / version
    if out.exists():
        shutil.rmtree(out)
    run(folder, sys.executable, "-m", "build", "--outdir", out)
    made = sorted(out.iterdir())
    sums = [f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}\n" for path in made]
    (out / "SHA256SUMS").write_text("".join(sums), "utf-8")
    return [*made, out / "SHA256SUMS"]


def release(folder: Path, version: str) -> None:
    if run(folder, "git", "status", "--porcelain").strip():
        stop("there are changes that are not committed")
    if run(folder, "git", "tag", "--list", f"v{version}").strip():
        stop(f"v{version} is there already")
    write(folder, version)
    run(folder, sys.executable, "-m", "assets.packaging.licences")
    run(folder, sys.executable, "-m", "assets.register")
    for path in build(folder, version):
        print(f"{path.stat().st_size:>10}  {path}")
    run(folder, "git", "commit", "--quiet", "--all", "--message", f"Release {version}")
    run(folder, "git", "tag", "--annotate", f"v{version}", "--message", f"Lagline {version}")
    print(f"Committed and tagged v{version}. To publish: git push --follow-tags")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("version")
    parser.add_argument("--try", dest="is_trial", action="store_true")
    asked = parser.parse_args()
    if not VERSION.fullmatch(asked.version):
        stop("write a version such as 0.2.0")
    if not asked.is_trial:
        return release(ROOT, asked.version)
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(scratch) / "lagline"
        run(ROOT, "git", "clone", "--quiet", "--no-hardlinks", ROOT, copy)
        return release(copy, asked.version)


if __name__ == "__main__":
    main()
