"""Builds the image and runs what is in it without a daemon, on a stand-in for its base.

The base is made of Debian's packages, since none can be fetched here: that shows the steps, the
user, the labels and the entry point of the image, and not the published base.
"""

import json
import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
TOOLS = ("buildah", "mmdebstrap", "unshare", "chroot")
CERTIFICATES = Path("/etc/ssl/certs/ca-certificates.crt")
BASE = "python:3.13-slim"
SUITE = "trixie"
"""The Debian release whose Python is that of the base."""
PACKAGES = "python3,python3-venv,python3-pip-whl,ca-certificates"
HEADERS = "python3-dev"
"""The headers of its Python, which the base brings along."""
NAME = "movewright:test"
UNREAD = ("doc", "locale", "man")
IN_READ_ONLY = (
    'mount --bind "$1" "$1" && mount --bind /dev "$1/dev" && mount -t proc proc "$1/proc" && '
    'mount -o remount,bind,ro "$1" && shift && exec "$@"'
)


class Store:
    """A folder of images and containers of our own."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._policy = folder / "policy.json"
        self._policy.write_text('{"default": [{"type": "insecureAcceptAnything"}]}')

    def buildah(self, verb: str, *arguments: str) -> str:
        """What buildah prints; its log if it fails."""
        places = ("--root", str(self._folder / "store"), "--runroot", str(self._folder / "run"))
        policy = ("--signature-policy", str(self._policy)) if verb in ("bud", "from") else ()
        command = ["buildah", *places, "--storage-driver", "vfs", verb, *policy, *arguments]
        ran = subprocess.run(command, capture_output=True, text=True, timeout=900)
        assert ran.returncode == 0, f"{' '.join(command)}\n{ran.stdout[-4000:]}{ran.stderr[-4000:]}"
        return ran.stdout.strip()

    def make_base(self) -> None:
        """The stand-in, under the name of the base."""
        tar = self._folder / "base.tar"
        options = [f"--dpkgopt=path-exclude=/usr/share/{name}/*" for name in UNREAD]
        command = ["mmdebstrap", "--variant=minbase", f"--include={PACKAGES}", *options]
        ran = subprocess.run(
            [*command, SUITE, str(tar)], capture_output=True, text=True, timeout=900
        )
        assert ran.returncode == 0, ran.stderr[-4000:]
        recipe = self._folder / "Basefile"
        recipe.write_text("FROM scratch\nADD base.tar /\n")
        self.buildah("bud", "--tag", BASE, "--file", str(recipe), str(self._folder))
        tar.unlink()

    def build(self, arguments: Sequence[str], context: Path = ROOT) -> None:
        """The image, as its recipe says."""
        self.buildah(
            "bud",
            *("--format", "docker", "--isolation", "chroot", "--network", "host"),
            *("--pull=never", "--volume", f"{CERTIFICATES}:{CERTIFICATES}:ro"),
            *arguments,
            *("--tag", NAME, "--file", str(ROOT / "docker" / "Dockerfile"), str(context)),
        )

    def config(self) -> dict[str, object]:
        """What the image says of itself."""
        told = json.loads(self.buildah("inspect", "--type", "image", NAME))
        found: dict[str, object] = told["Docker"]["config"]
        return found

    def size_bytes(self, name: str) -> int:
        """How large an image is."""
        for image in json.loads(self.buildah("images", "--json")):
            if any(one.endswith(name) for one in image.get("names") or ()):
                return _bytes(image["size"])
        raise AssertionError(f"no image {name}")

    def unpack(self) -> Path:
        """The folder of a container of the image."""
        container = self.buildah("from", "--pull=never", NAME)
        return Path(self.buildah("mount", container))


def inside(root: Path, environ: Sequence[str], *command: str) -> list[str]:
    """A command line that runs a command in the image: its user, a root that cannot be written."""
    # The variables are those of the image, none of this machine.
    within = ["chroot", "--userspec=10001:10001", str(root), "env", "-i", *environ, *command]
    return ["unshare", "--mount", "sh", "-c", IN_READ_ONLY, "sh", str(root), *within]


def missing_tools() -> str:
    """Why the image cannot be built here; empty where it can."""
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if missing:
        return f"not installed: {', '.join(missing)}"
    return "" if os.geteuid() == 0 else "building in a chroot needs root"


def _bytes(size: str) -> int:
    number, unit = size.split()
    return int(float(number) * {"B": 1, "KB": 10**3, "MB": 10**6, "GB": 10**9}[unit])
